"""The drawing of a layout: its marks stand where pyproj's geodesics on a sphere put them, and what is far is not drawn."""

import math
from collections.abc import Sequence

import pytest
from pyproj import Geod

from app.calculation.grip import Hand
from app.calculation.grip_solver import solve_grip
from app.calculation.layouts import AxisPoint, LaidOut, Layout, solve_layout
from app.pages.ball_labels import letter_ball, list_points
from app.pages.layout_pictures import draw_layout
from app.pages.pictures import GripPicture, Shape
from app.schemas.calc_grips import GripIn
from tests.calculation.grips import example

RADIUS_IN = 27 / 2 / math.pi


def lay(hand: Hand = "right", pin_axis_in: float = 4.0, drilling_deg: float = 40.0) -> LaidOut:
    return solve_layout(27.0, hand, AxisPoint(4.5, 0.5), Layout(pin_axis_in, 35.0, drilling_deg))


def find(picture: GripPicture, kind: str) -> Shape:
    return next(shape for shape in picture.shapes if shape.kind == kind)


def middle(shape: Shape) -> tuple[float, float, float]:
    """The middle of a mark's corners, pushed out to the ball."""
    at = [sum(point[i] for point in shape.points) for i in range(3)]
    size = math.dist(at, (0, 0, 0)) / RADIUS_IN
    return at[0] / size, at[1] / size, at[2] / size


def seen(along_in: float, across_in: float) -> tuple[float, float]:
    """Where a place of the ball is seen, y up: pyproj walks across from the centre line, about the ball's own axis."""
    geod = Geod(a=RADIUS_IN, b=RADIUS_IN)
    # longitude runs along the centre line, latitude across it
    lon, lat, _ = geod.fwd(math.degrees(along_in / RADIUS_IN), 0.0, 0.0 if across_in > 0 else 180.0, abs(across_in))
    up = RADIUS_IN * math.cos(math.radians(lat)) * math.sin(math.radians(lon))
    return RADIUS_IN * math.sin(math.radians(lat)), up


@pytest.mark.parametrize("hand", ["right", "left"])
def test_marks_stand_where_the_worked_example_puts_them(hand: Hand) -> None:
    """Source: the project's geometry contract, 27 in, 4 1/2 over and 1/2 up, 4 in by 35° by 40°."""
    picture, side = draw_layout(lay(hand)), 1 if hand == "right" else -1
    places = {"axis-point": (0.986817, 4.450173), "pin": (3.577689, 0.942422), "mass-mark": (-3.685229, 2.108438)}
    for kind, (along_in, across_in) in places.items():
        x, y, _ = middle(find(picture, kind))
        assert (x, y) == pytest.approx(seen(along_in, side * across_in), abs=2e-6)


def test_a_mark_on_the_far_side_is_drawn_only_when_the_ball_is_turned() -> None:
    laid = lay(drilling_deg=-60.0)
    assert laid.mark[2] < 0
    picture = draw_layout(laid)
    assert find(picture, "mass-mark").path == ""
    assert find(picture, "pin").path.startswith("M")
    names = {name["text"]: name["at"] for name in list_points(picture)["names"]}  # type: ignore[attr-defined]
    assert names["Mass mark"] == pytest.approx([RADIUS_IN * value for value in laid.mark], abs=1e-3)


@pytest.mark.parametrize("drilling_deg", [40.0, -60.0, 180.0])
def test_a_turned_ball_keeps_its_arcs_and_angles_where_they_lie(drilling_deg: float) -> None:
    """Each figure stands in the middle of its arc by pyproj's geodesics; both angles lie near their corner."""
    laid = lay(drilling_deg=drilling_deg)
    names = {name["text"]: name["at"] for name in list_points(draw_layout(laid))["names"]}  # type: ignore[attr-defined]
    geod = Geod(a=RADIUS_IN, b=RADIUS_IN)

    def apart_in(one: Sequence[float], other: Sequence[float]) -> float:
        ends = [
            (math.degrees(math.atan2(x, z)), math.degrees(math.atan2(y, math.hypot(x, z)))) for x, y, z in (one, other)
        ]
        found: float = geod.inv(*ends[0], *ends[1])[2]
        return found

    assert apart_in(names["4"], laid.pin) == pytest.approx(2.0, abs=1e-3)
    assert apart_in(names["4"], laid.axis) == pytest.approx(2.0, abs=1e-3)
    assert apart_in(names["6 3/4"], laid.pin) == pytest.approx(3.375, abs=1e-3)
    assert apart_in(names["35°"], laid.axis) == pytest.approx(0.75, abs=1e-3)
    assert apart_in(names[f"{drilling_deg:.0f}°".replace("-", "−")], laid.pin) == pytest.approx(0.75, abs=1e-3)


def test_a_line_that_goes_over_the_edge_is_drawn_as_far_as_the_edge() -> None:
    picture = draw_layout(lay(drilling_deg=-60.0))
    last = find(picture, "dim").path.split(" L")[-1].removeprefix("M").split()
    assert math.hypot(*map(float, last)) == pytest.approx(RADIUS_IN, abs=0.01)
    first = find(picture, "dim").path.split(" L")[0].removeprefix("M").split()
    assert (float(first[0]), -float(first[1])) == pytest.approx(seen(3.577689, 0.942422), abs=2e-5)


def test_a_track_is_a_circle_about_the_axis_point() -> None:
    laid = lay()
    track = find(draw_layout(laid, None, None, 2.5), "track")
    for x, y, z in track.points:
        turned = (x * laid.axis[0] + y * laid.axis[1] + z * laid.axis[2]) / RADIUS_IN
        assert RADIUS_IN * math.acos(turned) == pytest.approx(2.5, abs=1e-9)


@pytest.mark.parametrize("hand", ["right", "left"])
def test_every_mark_and_number_is_told_and_nothing_of_the_layout_is_left_out(hand: Hand) -> None:
    solved = solve_grip(GripIn.model_validate(example() | {"hand": hand}).to_grip())
    for size in ("layout", "layout print"):
        set = letter_ball(draw_layout(lay(hand), solved, lay(hand).pin, 2.5), size)
        told = " ".join("".join(run.text for run in text.line.runs) for text in set.texts)
        for words in ("Pin", "Axis", "Mass", "Heavy", "4", "35°", "40°"):
            assert words in told
        assert not {"Pin", "Axis point", "Mass mark", "35°", "40°", "4"} & {*set.left_out}


@pytest.mark.parametrize("hand", ["right", "left"])
@pytest.mark.parametrize(
    ("point", "numbers", "track_in"),
    [
        (AxisPoint(4.5, 0.5), Layout(5.0, 45.0, 30.0), None),
        (AxisPoint(3.5, -0.75), Layout(2.5, 70.0, 30.0), 2.5),
        (AxisPoint(5.25, 0.5), Layout(4.0, 70.0, 30.0), None),
        (AxisPoint(5.25, -0.75), Layout(2.5, 45.0, 80.0), 2.5),
    ],
)
def test_the_axis_point_is_named_on_its_own_side(
    hand: Hand, point: AxisPoint, numbers: Layout, track_in: float | None
) -> None:
    laid = solve_layout(27.0, hand, point, numbers)
    solved = solve_grip(GripIn.model_validate(example() | {"hand": hand}).to_grip())
    for size in ("layout", "layout print"):
        told = letter_ball(draw_layout(laid, solved, laid.mark, track_in), size)
        places = [text.x for text in told.texts if text.parts == ("axis point",)]
        assert places
        assert all((x > 0) == (hand == "right") for x in places)
