"""Marks on the ball against pyproj's geodesics and scipy: the marks alone lead back to the holes of the grip."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from pyproj import Geod
from scipy.optimize import fsolve

from app.calculation.grip import Grip
from app.calculation.grip_solver import solve_grip
from app.calculation.holes import surface_point
from app.calculation.marking import lay_out
from app.calculation.sphere import along_across_in, unit
from app.schemas.calc_grips import GripIn
from tests.calculation.grips import EXAMPLE, Json, bodies, example
from tests.calculation.reference import ReferenceHole, Sphere
from tests.conftest import not_none

ARC_IN = 1e-8  # pyproj's geodesics and bisection against closed forms
SWUNG_IN = 1e-3  # the tape swung over a pitched rim, which is not quite a circle on the ball
PLACE_IN = 1e-6  # a hole laid out anew from its marks


def solved(body: Json) -> tuple[Grip, Json]:
    grip = GripIn.model_validate(body).to_grip()
    return grip, body


def tape_of(sphere: Sphere, start: tuple[float, float], hole: ReferenceHole, cut_in: float) -> float:
    back, far = sphere.arc(hole.at, start)
    return far - hole.edge(back, cut_in)


def off_line(sphere: Sphere, hole: ReferenceHole, cut_in: float) -> float:
    """The centre line is the reference's equator: square to it is due south or north."""
    towards = 180.0 if hole.at[1] > 0 else 0.0
    return math.radians(abs(hole.at[1])) * sphere.radius - hole.edge(towards, cut_in)


@settings(max_examples=40, deadline=None)
@given(bodies())
def test_each_mark_is_the_arc_that_a_tape_measures(body: Json) -> None:
    grip, _ = solved(body)
    found = solve_grip(grip)
    marks, sphere = lay_out(found), Sphere(grip.circumference_in)
    thumb = not_none(found.thumb)
    start = sphere.degrees(-not_none(marks.cut_line_in), not_none(marks.thumb_line_in))
    assert marks.thumb_line_in == pytest.approx(0, abs=1e-12)
    assert not_none(marks.cut_line_in) == pytest.approx(not_none(found.half_span_in), abs=1e-9)
    own = body["thumb"]
    at = ReferenceHole(
        sphere, sphere.degrees(*along_across_in(thumb.centre, sphere.radius)), own["forward_in"], own["right_in"], True
    )
    assert sphere.arc(at.at, start)[1] == pytest.approx(
        at.edge(90.0, own["hole_in"], own["oval_in"], own["oval_deg"]), abs=ARC_IN
    )  # fmt: skip
    for name, axis in found.fingers.items():
        finger, told = body[name], marks.fingers[name]
        place = sphere.degrees(*along_across_in(axis.centre, sphere.radius))
        hole = ReferenceHole(sphere, place, finger["forward_in"], finger["right_in"], False)
        assert told.tape_in == pytest.approx(tape_of(sphere, start, hole, finger["cut_in"]), abs=ARC_IN)
        assert told.half_bridge_in == pytest.approx(off_line(sphere, hole, finger["cut_in"]), abs=ARC_IN)
        rim = [
            along_across_in(unit(surface_point(axis, finger["cut_in"] / 2, deg)), sphere.radius)
            for deg in np.arange(0, 360, 0.5)
        ]
        swung = min(sphere.arc(start, sphere.degrees(*point))[1] for point in rim)
        assert told.tape_in == pytest.approx(swung, abs=SWUNG_IN)  # the bit touches the swung tape
        assert told.half_bridge_in == pytest.approx(min(abs(point[1]) for point in rim), abs=SWUNG_IN)


@pytest.mark.parametrize("hand", ["right", "left"])
def test_the_holes_follow_from_the_marks_alone(hand: str) -> None:
    grip, body = solved(example(hand=hand))
    found = solve_grip(grip)
    marks, sphere = lay_out(found), Sphere(grip.circumference_in)
    start = sphere.degrees(-not_none(marks.cut_line_in), 0.0)
    for name, side in (("middle", -1 if hand == "right" else 1), ("ring", 1 if hand == "right" else -1)):
        finger = body[name]

        def misses(x: np.ndarray, finger: Json = finger) -> list[float]:
            hole = ReferenceHole(sphere, sphere.degrees(*x), finger["forward_in"], finger["right_in"], False)
            marked = marks.fingers["middle" if finger is body["middle"] else "ring"]
            return [
                tape_of(sphere, start, hole, finger["cut_in"]) - marked.tape_in,
                off_line(sphere, hole, finger["cut_in"]) - not_none(marked.half_bridge_in),
            ]

        laid_out = fsolve(misses, np.array([2.4, side * 0.6]), xtol=1e-12)
        assert laid_out == pytest.approx(along_across_in(found.holes[name].centre, sphere.radius), abs=PLACE_IN)


def test_a_grip_without_pitches_is_marked_by_hand_worked_arcs() -> None:
    """Round straight holes: an edge lies asin(r/R) from its centre, so a tape is an arc less that (a closed form)."""
    body = example()
    for name in ("thumb", "middle", "ring"):
        body[name] |= {"forward_in": 0.0, "right_in": 0.0}
    body["thumb"]["oval_in"] = 0.0
    found = solve_grip(GripIn.model_validate(body).to_grip())
    marks, radius = lay_out(found), 27 / (2 * math.pi)
    along, across = along_across_in(not_none(found.ring).centre, radius)
    edge = math.asin(0.96875 / 2 / radius)
    # cos of an arc from a point on the line: cos(across) times cos(along from it)
    far = math.acos(math.cos(across / radius) * math.cos((along + not_none(marks.cut_line_in)) / radius))
    assert marks.fingers["ring"].tape_in == pytest.approx(radius * (far - edge), abs=1e-9)
    assert marks.fingers["ring"].half_bridge_in == pytest.approx(across - radius * edge, abs=1e-9)
    assert marks.fingers["ring"].half_bridge_in == pytest.approx(body["bridge_in"] / 2, abs=5e-3)


def test_without_a_thumb_the_reach_is_taped_from_the_plus() -> None:
    body = example(thumb=None, sleeve_od_in=None)
    for name in ("middle", "ring"):
        body[name]["reach_in"] = body[name].pop("span_in") / 2
    found = solve_grip(GripIn.model_validate(body).to_grip())
    marks = lay_out(found)
    assert (marks.cut_line_in, marks.thumb_line_in) == (None, None)
    assert {name: told.tape_in for name, told in marks.fingers.items()} == pytest.approx(
        {"middle": EXAMPLE["middle"]["span_in"] / 2, "ring": EXAMPLE["ring"]["span_in"] / 2}
    )


def test_a_thumb_and_one_finger_stand_on_the_centre_line_without_a_bridge() -> None:
    found = solve_grip(GripIn.model_validate(example(ring=None, bridge_in=None, bridge_edges=None)).to_grip())
    marks = lay_out(found)
    assert marks.fingers["middle"].half_bridge_in is None
    spans = not_none(found.middle_spans)
    assert marks.fingers["middle"].tape_in == pytest.approx(spans.cut_in, abs=1e-9)
    assert marks.cut_line_in == pytest.approx(spans.cut_in / 2, abs=1e-9)


def test_an_offset_thumb_has_a_line_of_its_own_from_which_the_spans_are_taped() -> None:
    body = example()
    body["thumb"]["offset_in"] = 0.125
    found = solve_grip(GripIn.model_validate(body).to_grip())
    marks, sphere = lay_out(found), Sphere(27.0)
    geod, start = (
        Geod(a=sphere.radius, b=sphere.radius),
        sphere.degrees(-not_none(marks.cut_line_in), not_none(marks.thumb_line_in)),
    )
    assert marks.cut_line_in == pytest.approx(not_none(found.half_span_in), abs=1e-9)
    # the thumb's own line is a great circle through the poles of the midline: tan(across) goes with cos(along)
    along = along_across_in(not_none(found.thumb).centre, sphere.radius)[0] / sphere.radius
    wider = math.cos(not_none(marks.cut_line_in) / sphere.radius) / math.cos(along)
    closed = sphere.radius * math.atan(wider * math.tan(0.125 / sphere.radius))
    assert marks.thumb_line_in == pytest.approx(closed, abs=1e-9)
    # square across the cut line: pyproj's arc from the centre line straight north
    foot = (start[0], 0.0)
    assert geod.inv(*foot, *start)[2] == pytest.approx(not_none(marks.thumb_line_in), abs=ARC_IN)
    for name, axis in found.fingers.items():
        finger = body[name]
        hole = ReferenceHole(
            sphere,
            sphere.degrees(*along_across_in(axis.centre, sphere.radius)),
            finger["forward_in"],
            finger["right_in"],
            False,
        )
        assert marks.fingers[name].tape_in == pytest.approx(tape_of(sphere, start, hole, finger["cut_in"]), abs=ARC_IN)
