"""An inner's rim in section at the ball's surface: across to scale, heights drawn ten times larger; inches, y down."""

from collections.abc import Sequence
from dataclasses import dataclass

from app.calculation.bores import Flushness
from app.measures.wording import proud_words
from app.pages.lettering import Line, set_line

TIMES = 10
_WALL_IN, _BALL_IN, _DEEP_IN = 0.125, 0.3, 0.42  # schematic: sleeve, what is shown of the ball, how far down
_LETTER, _GAP, _EDGE = (
    0.17,
    0.8,
    0.03,
)  # letters at most so large; between two words, in letters; beside the view's ends


@dataclass(frozen=True)
class HeightSide:
    """Where a figure stands, the height there as drawn, and below its name the figure, then proud or sunk."""

    x: float
    y: float
    anchor: str
    name: Line
    figure: Line
    way: Line | None
    is_off: bool

    @property
    def width(self) -> float:
        return max(line.width for line in (self.name, self.figure, self.way) if line)


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
        lines = 4.7 if any(side.way for side in self.sides) else 3.6
        height = self.above + self.deep + lines * self.letter
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
    told = ", ".join(f"{name} {proud_words(height)}" for name, height in heights)
    words = f"Section from {heights[0][0]} to {heights[-1][0]}, heights ten times larger: {told}"
    left = -(half + _WALL_IN + _BALL_IN)
    inner = f"{top} V{deep:.4f} H{-half:.4f} Z"
    letter = _LETTER
    sides = _set_sides(heights, lip_in, left, letter)
    room, taken = -2 * (left + _EDGE), _reach_across(sides)
    if taken > room:
        letter *= room / taken
        sides = _set_sides(heights, lip_in, left, letter)
    return HeightPicture(inner, top, half, _WALL_IN, TIMES * lip_in, sides, left, reach[0] + 0.12, deep, letter, words)


def _set_sides(
    heights: Sequence[tuple[str, float]], lip_in: float, left: float, letter: float
) -> tuple[HeightSide, ...]:
    """The figures of both ends at the ends of the view, that of the centre between them, in letters of this size."""
    end = -left - _EDGE
    sides = []
    for (name, height), x, anchor in zip(heights, (-end, 0.0, end), ("start", "middle", "end"), strict=True):
        figure, _, way = proud_words(height).lstrip("+").partition(" ")
        sides.append(
            HeightSide(
                x,
                -TIMES * height,
                anchor,
                set_line(name, letter * 0.85, "quiet"),
                set_line(figure, letter, "figure", is_bold=True),
                set_line(way, letter * 0.85, "figure") if way else None,
                abs(height) > lip_in,
            )
        )
    return tuple(sides)


def _reach_across(sides: Sequence[HeightSide]) -> float:
    """How wide a view must be for the three to stand beside each other, the middle one in its middle."""
    first, centre, last = (side.width for side in sides)
    return centre + 2 * max(first, last) + 2 * _GAP * sides[0].figure.size
