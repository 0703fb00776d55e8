"""An inner's rim in section at the ball's surface: across to scale, heights drawn ten times larger; inches, y down."""

from collections.abc import Sequence
from dataclasses import dataclass

from app.calculation.bores import Flushness
from app.measures.wording import proud_words
from app.pages.lettering import Line, set_line

TIMES = 10
_WALL_IN, _BALL_IN, _DEEP_IN = 0.125, 0.3, 0.42  # schematic: sleeve, what is shown of the ball, how far down
_LETTER = 0.15


@dataclass(frozen=True)
class HeightSide:
    """Where a figure stands, the height there as drawn, and the figure below its name."""

    x: float
    y: float
    anchor: str
    name: Line
    figure: Line
    is_off: bool


@dataclass(frozen=True)
class HeightPicture:
    """One section: `top` is the inner's own top as a path, `inner` all of it; `lip` half of what counts as flush."""

    inner: str
    top: str
    half_in: float
    wall_in: float
    lip: float
    sides: tuple[HeightSide, ...]
    left: float
    above: float
    deep: float
    letter: float
    words: str

    @property
    def view(self) -> str:
        height = self.above + self.deep + 3.6 * self.letter
        return f"{self.left:.3f} {-self.above:.3f} {-2 * self.left:.3f} {height:.3f}"


def draw_heights(flushness: Flushness, lip_in: float, outside_in: float) -> tuple[HeightPicture, HeightPicture]:
    """Draws the sections from front to back and from left to right of an inner of this outside diameter."""
    centre = ("centre", flushness.centre_in)
    across = (
        (("front", flushness.front_in), centre, ("back", flushness.back_in)),
        (("left", flushness.left_in), centre, ("right", flushness.right_in)),
    )
    highest = TIMES * max(0.0, *(height for section in across for _, height in section), 1.5 * lip_in)
    lowest = TIMES * max(0.0, *(-height for section in across for _, height in section))
    first, second = (_draw_section(section, lip_in, outside_in, (highest, lowest)) for section in across)
    return first, second


def _draw_section(
    heights: Sequence[tuple[str, float]], lip_in: float, outside_in: float, reach: tuple[float, float]
) -> HeightPicture:
    half, deep = outside_in / 2, max(_DEEP_IN, reach[1] + 0.15)
    a, middle, b = (-TIMES * height for _, height in heights)
    control = 2 * middle - (a + b) / 2  # of the parabola through the three
    top = f"M{-half:.4f} {a:.4f} Q0 {control:.4f} {half:.4f} {b:.4f}"
    sides = tuple(
        HeightSide(
            x, -TIMES * height, anchor, set_line(name, _LETTER * 0.85, "quiet"),
            set_line(proud_words(height).lstrip("+"), _LETTER, "figure", is_bold=True), abs(height) > lip_in,
        )
        for (name, height), x, anchor in zip(heights, (-half, 0.0, half), ("start", "middle", "end"), strict=True)
    )  # fmt: skip
    told = ", ".join(f"{name} {proud_words(height)}" for name, height in heights)
    words = f"Section from {heights[0][0]} to {heights[-1][0]}, heights ten times larger: {told}"
    left = -(half + _WALL_IN + _BALL_IN)
    inner = f"{top} V{deep:.4f} H{-half:.4f} Z"
    return HeightPicture(
        inner, top, half, _WALL_IN, TIMES * lip_in, _spread(sides, left), left, reach[0] + 0.12, deep, _LETTER, words
    )


def _spread(sides: tuple[HeightSide, ...], left: float) -> tuple[HeightSide, ...]:
    """The figures of both ends at the ends of the view, so that the three never meet."""
    first, centre, last = sides
    ends = [
        HeightSide(x, s.y, s.anchor, s.name, s.figure, s.is_off)
        for s, x in ((first, left + 0.03), (last, -left - 0.03))
    ]
    return ends[0], centre, ends[1]
