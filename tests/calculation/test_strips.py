"""Strips and the rim disc against pyproj: geodesics on a sphere, and its azimuthal equidistant projection."""

import itertools
import math
from dataclasses import replace

import numpy as np
import pytest
from pyproj import Proj

from app.calculation.cuts import SleeveBore
from app.calculation.errors import CannotBuildError
from app.calculation.grip import Finger, Grip, SolvedGrip, Thumb
from app.calculation.grip_solver import solve_grip
from app.calculation.sphere import Vector
from app.calculation.strips import Strip, Tick, break_strip, flatten, lay_rim_disc, lay_strips
from tests.calculation.grips import EXAMPLE
from tests.calculation.reference import ReferenceHole, Sphere
from tests.conftest import not_none

SAME_IN = 1e-8
BORE = SleeveBore(1.5625, -0.125, 0.0625, 2.75)
MIDDLE, RING = Finger(**EXAMPLE["middle"]), Finger(**EXAMPLE["ring"])
THREE = Grip(
    27.0, "right", Thumb(**EXAMPLE["thumb"]), MIDDLE, RING, 0.25, sleeve_od_in=1.5, sleeve_pitch_in=(-0.125, 0.0625)
)
LIFTED = replace(MIDDLE, lift_in=1 / 32, lift_deg=60.0, oval_in=1 / 32, oval_deg=100.0)
GRIPS = {
    "three": THREE,
    "left": replace(THREE, hand="left", circumference_in=26.8),
    "offset": replace(THREE, thumb=Thumb(0.9375, -0.25, 0.125, 0.0625, 45.0, offset_in=0.1875)),
    "lifted": replace(THREE, middle=LIFTED),
    "thumbless": replace(
        THREE, thumb=None, sleeve_od_in=None, sleeve_pitch_in=None, middle=replace(MIDDLE, span_in=2.0),
        ring=replace(RING, span_in=2.0625),
    ),
    "one finger": replace(THREE, ring=None, bridge_in=None),
}  # fmt: skip


class Walked:
    """A strip's start on the reference sphere, and the points that pyproj comes to along it."""

    def __init__(self, solved: SolvedGrip, strip: Strip) -> None:
        self.solved, self.sphere = solved, Sphere(solved.grip.circumference_in)
        grip_centre: Vector = (0.0, 0.0, 1.0)
        ends = {"plus": grip_centre, **{name: axis.centre for name, axis in solved.holes.items()}}
        on_line = strip.end == "fingers"
        self.start = self.find_degrees(grip_centre if on_line else ends[strip.start])
        self.azimuth = 90.0 if on_line else self.sphere.arc(self.start, self.find_degrees(ends[strip.end]))[0]

    def find_degrees(self, at: Vector) -> tuple[float, float]:
        return math.degrees(math.atan2(at[1], at[2])), math.degrees(math.asin(at[0]))

    def reach(self, at_in: float) -> np.ndarray:
        return self.sphere.point(*self.sphere.walked(self.start, self.azimuth, at_in))

    def hole(self, name: str, what: str) -> tuple[ReferenceHole, float, float, float]:
        """The reference hole of an edge, its diameter, oval and oval direction."""
        grip, at = self.solved.grip, self.find_degrees(self.solved.holes[name].centre)
        if name == "thumb" and grip.thumb:
            t = grip.thumb
            pitch = {"hole": (t.forward_in, t.right_in), "bore": (BORE.forward_in, BORE.right_in)}
            own = pitch.get(what, grip.sleeve_pitch_in) or (0.0, 0.0)
            size = {"hole": t.hole_in, "sleeve": grip.sleeve_od_in or 0.0, "bore": BORE.bore_in}[what]
            oval = t.oval_in if what == "hole" else 0.0
            return ReferenceHole(self.sphere, at, *own, is_thumb=True), size, oval, t.oval_deg
        finger = grip.fingers["middle" if name == "middle" else "ring"]
        made = ReferenceHole(self.sphere, at, finger.forward_in, finger.right_in, is_thumb=False)
        if what == "bore":
            return made, finger.cut_in, 0.0, 0.0
        turn = math.radians(finger.lift_deg)
        lift = math.cos(turn) * made.along + math.sin(turn) * made.right
        lift -= (lift @ made.inwards) * made.inwards
        made.surface = made.surface + finger.lift_in * lift / np.linalg.norm(lift)
        return made, finger.hole_in, finger.oval_in, finger.oval_deg

    def find_gap_in(self, name: str, what: str, at_in: float) -> float:
        """How far a place of the strip is from the true surface of a hole's cylinder."""
        made, size, oval, deg = self.hole(name, what)
        return made.distance(self.reach(at_in), oval, deg) - size / 2


def sides(strip: Strip) -> list[tuple[str, float]]:
    """The holes that a strip goes over, with the place of their centres."""
    centres = strip.at_in("centre")
    names = [name for name in (strip.start, strip.end) if name in ("thumb", "middle", "ring")]
    if strip.end == "fingers":
        names = ["thumb", "middle"][: len(centres)] if strip.start == "thumb" else []
    return list(zip(names, centres, strict=True))


def find_nearest(strip: Strip, at_in: float) -> float:
    return min(strip.at_in("centre"), key=lambda centre_in: abs(centre_in - at_in))


@pytest.mark.parametrize("name", GRIPS)
def test_every_edge_lies_on_its_true_cylinder_and_is_walked_there_by_pyproj(name: str) -> None:
    solved = solve_grip(GRIPS[name])
    bore = BORE if solved.thumb else None
    for strip in lay_strips(solved, bore):
        walked, seen = Walked(solved, strip), 0
        for hole, centre_in in sides(strip):
            there = walked.reach(centre_in) / walked.sphere.radius
            assert there == pytest.approx(np.array(solved.holes[hole].centre), abs=SAME_IN)
            for tick in (t for t in strip.ticks if t.kind == "edge" and find_nearest(strip, t.at_in) == centre_in):
                assert walked.find_gap_in(hole, tick.name, tick.at_in) == pytest.approx(0, abs=SAME_IN), (strip, tick)
                seen += 1
        assert seen == len([t for t in strip.ticks if t.kind == "edge"])
        assert list(strip.ticks) == sorted(strip.ticks, key=lambda t: t.at_in)


def test_a_strip_goes_over_each_hole_from_edge_to_edge() -> None:
    to_middle, to_ring, bridge, line = lay_strips(solve_grip(THREE), BORE)
    assert [t.name for t in to_middle.ticks] == [
        "bore", "sleeve", "hole", "centre", "hole", "cut line", "sleeve", "bore", "midline", "bore", "hole", "centre", "hole", "bore",
    ]  # fmt: skip
    assert (to_ring.start, to_ring.end, line.start, line.end) == ("thumb", "ring", "thumb", "fingers")
    assert [t.name for t in bridge.ticks][2:-2] == ["centre", "hole", "bore", "centre line", "bore", "hole", "centre"]
    assert [t.name for t in line.ticks][-4:] == ["grip centre", "middle foot", "bridge", "ring foot"]


def test_the_spans_and_the_bridge_stand_between_their_ticks() -> None:
    """The solver's own spans, which `test_grip.py` holds against pyproj and published cases."""
    solved = solve_grip(THREE)
    to_middle, _, bridge, line = lay_strips(solved, BORE)
    spans = solved.spans["middle"]
    assert to_middle.at_in("bore")[2] - to_middle.at_in("hole")[1] == pytest.approx(spans.cut_in, abs=SAME_IN)
    assert to_middle.at_in("bore")[2] - to_middle.at_in("sleeve")[1] == pytest.approx(
        spans.sleeve_to_cut_in, abs=SAME_IN
    )
    assert bridge.at_in("bore")[2] - bridge.at_in("bore")[1] == pytest.approx(0.25, abs=SAME_IN)
    assert line.at_in("cut line") == pytest.approx([-(solved.half_span_in or 0.0)], abs=SAME_IN)
    assert line.at_in("hole")[1] == pytest.approx(line.at_in("cut line")[0], abs=SAME_IN)  # a thumb on the line


@pytest.mark.parametrize("name", GRIPS)
def test_lines_cross_where_they_are_ticked(name: str) -> None:
    solved = solve_grip(GRIPS[name])
    half = (solved.half_span_in or 0.0) / solved.radius_in
    poles = {"midline": (0, 1, 0), "centre line": (1, 0, 0), "cut line": (0, math.cos(half), math.sin(half))}
    for strip in lay_strips(solved):
        walked = Walked(solved, strip)
        for tick in strip.ticks:
            at = walked.reach(tick.at_in)
            if tick.name in poles:
                assert at @ np.array(poles[tick.name]) == pytest.approx(0, abs=SAME_IN)
            if tick.name == "grip centre":
                assert at[:2] == pytest.approx([0, 0], abs=SAME_IN)
            if tick.name.endswith("foot"):  # the foot of a great circle square to the centre line
                centre = walked.find_degrees(solved.holes[tick.name.split()[0]].centre)
                assert math.degrees(tick.at_in / solved.radius_in) == pytest.approx(centre[0], abs=SAME_IN)
            if tick.name == "bridge" and solved.middle and solved.ring:
                assert at @ np.cross(solved.middle.centre, solved.ring.centre) == pytest.approx(0, abs=SAME_IN)


def test_a_strip_reaches_from_its_first_tick_to_its_last() -> None:
    strip = Strip("thumb", "middle", tuple(Tick("edge", at_in, "edge") for at_in in (-1.5, 0.25, 4.0)))
    assert strip.ends_in == (-1.5, 4.0)
    assert strip.length_in == 5.5


def test_a_long_strip_is_joined_at_a_tick_that_both_pieces_have() -> None:
    strip = lay_strips(solve_grip(THREE), BORE)[0]
    assert break_strip(strip, 8.0, 0.5) == (strip,)
    pieces = break_strip(strip, 4.0, 0.5)
    assert {tick for piece in pieces for tick in piece.ticks} == set(strip.ticks)
    assert all(piece.length_in <= 4 for piece in pieces)
    for one, other in itertools.pairwise(pieces):
        joint = one.after
        assert other.before == joint
        assert {t for t in one.ticks if t.name == joint} & {t for t in other.ticks if t.name == joint}
    assert (pieces[0].before, pieces[-1].after) == ("", "")
    with pytest.raises(CannotBuildError):
        break_strip(strip, 1.0, 0.5)


@pytest.mark.parametrize("name", ["three", "left", "offset", "one finger"])
def test_the_disc_has_the_true_rims_in_pyprojs_projection(name: str) -> None:
    solved = solve_grip(GRIPS[name])
    disc = lay_rim_disc(solved, BORE, 200.0)
    assert disc
    assert disc.oval
    assert disc.notch
    walked = Walked(solved, lay_strips(solved)[0])
    axis = solved.require_thumb()
    lon, lat = walked.find_degrees(axis.centre)
    project = Proj(proj="aeqd", lon_0=lon, lat_0=lat, R=walked.sphere.radius)
    made = walked.hole("thumb", "hole")[0]
    # pyproj's east is along the ball's parallel; the frame of an offset hole is turned from it by this angle
    east = np.array([0, math.cos(math.radians(lon)), -math.sin(math.radians(lon))])
    turn = math.atan2(made.right @ east, made.along @ east)

    def unproject(point: tuple[float, float]) -> np.ndarray:
        size, way = math.hypot(*point), math.atan2(point[0], point[1]) - turn
        return walked.sphere.point(*project(size * math.cos(way), size * math.sin(way), inverse=True))

    for what, rim in disc.rims.items():
        hole, diameter, oval, deg = walked.hole("thumb", what)
        gaps = [hole.distance(unproject(point), oval, deg) - diameter / 2 for point in rim]
        assert max(map(abs, gaps)) < SAME_IN, what
    sleeve = walked.hole("thumb", "sleeve")[0]
    for hour, (mark, _) in enumerate(disc.hours, 1):
        assert find_clock_deg(sleeve, unproject(mark)) == pytest.approx(hour % 12 * 30, abs=1e-6)
    assert find_clock_deg(sleeve, unproject(disc.notch)) == pytest.approx(200, abs=1e-6)
    assert find_clock_deg(made, unproject(disc.oval[0])) == pytest.approx(45, abs=1e-6)


def find_clock_deg(hole: ReferenceHole, at: np.ndarray) -> float:
    """The clock direction of a place about a hole's axis, degrees 0 to 360, square to the axis as the oval is told."""
    flat = (at - hole.surface) - ((at - hole.surface) @ hole.inwards) * hole.inwards
    along = hole.along - (hole.along @ hole.inwards) * hole.inwards
    right = hole.right - (hole.right @ hole.inwards) * hole.inwards
    (a, b), *_ = np.linalg.lstsq(np.column_stack([along, right]), flat, rcond=None)
    return round(math.degrees(math.atan2(b, a)) % 360, 7) % 360


def test_no_disc_without_a_thumb_hole_and_a_point_at_the_centre_is_the_origin() -> None:
    solved = solve_grip(GRIPS["thumbless"])
    assert lay_rim_disc(solved) is None
    axis = solve_grip(THREE).require_thumb()
    assert flatten(axis, axis.centre) == pytest.approx((0, 0), abs=1e-12)
    plain = lay_rim_disc(solve_grip(replace(THREE, thumb=Thumb(0.9375), sleeve_od_in=None, sleeve_pitch_in=None)))
    assert plain
    assert (plain.oval, plain.notch, list(plain.rims)) == (None, None, ["hole"])
    assert plain.reach_in == pytest.approx(0.9375 / 2 + 0.1, abs=0.01)


@pytest.mark.parametrize(("oval_in", "clock"), [(0.0625, 45.0), (0.25, 120.0)])
def test_the_ends_of_an_oval_lie_on_its_long_axis(oval_in: float, clock: float) -> None:
    # by hand, of a straight hole: half of its overall width from the axis is R·asin(half / R) round the ball
    thumb = Thumb(0.9375, oval_in=oval_in, oval_deg=clock)
    disc = lay_rim_disc(solve_grip(replace(THREE, thumb=thumb, sleeve_od_in=None, sleeve_pitch_in=None)))
    assert disc and disc.oval
    radius, turn = 13.5 / math.pi, math.radians(clock)
    reach = radius * math.asin((0.9375 + oval_in) / 2 / radius)
    way = (math.sin(turn), math.cos(turn))
    ends = [side * reach * part for side in (1, -1) for part in way]
    assert [part for end in disc.oval for part in end] == pytest.approx(ends, abs=1e-9)
    assert len(disc.hours) == 12
    for hour, mark in enumerate(disc.hours, 1):  # from the overall width outwards by 1/10 in, square to the axis
        turn = math.radians(30 * hour)
        for far, end in zip((0.0, 0.1), mark, strict=True):
            reach = radius * math.asin(((0.9375 + oval_in) / 2 + far) / radius)
            assert end == pytest.approx((reach * math.sin(turn), reach * math.cos(turn)), abs=1e-9)


def test_no_piece_of_a_strip_is_longer_than_its_paper_with_what_both_pieces_have() -> None:
    # by hand: ticks an inch apart on paper of 4 in: 2 in on from each joint, with an inch that both pieces have
    strip = replace(lay_strips(solve_grip(THREE))[0], ticks=tuple(Tick("", float(at), "line") for at in range(11)))
    pieces = [[tick.at_in for tick in piece.ticks] for piece in break_strip(strip, 4.0, 1.0)]
    assert pieces == [[0, 1, 2, 3, 4], [2, 3, 4, 5, 6], [4, 5, 6, 7, 8], [6, 7, 8, 9, 10]]


@pytest.mark.parametrize("notch", [30.0, 200.0])
def test_the_notch_lies_on_the_rim_of_the_sleeve(notch: float) -> None:
    # by hand, of a straight sleeve: half of its outside from the axis is R·asin(half / R) round the ball
    grip = replace(THREE, thumb=Thumb(0.9375), sleeve_od_in=1.5, sleeve_pitch_in=(0.0, 0.0))
    disc = lay_rim_disc(solve_grip(grip), notch_deg=notch)
    radius, turn = 13.5 / math.pi, math.radians(notch)
    reach = radius * math.asin(0.75 / radius)
    assert disc and disc.notch == pytest.approx((reach * math.sin(turn), reach * math.cos(turn)), abs=1e-9)


def test_without_a_sleeve_no_edge_of_one_is_ticked() -> None:
    bare = solve_grip(replace(THREE, sleeve_od_in=None, sleeve_pitch_in=None))
    for solved, wanted in ((solve_grip(THREE), True), (bare, False)):
        names = {tick.name for strip in lay_strips(solved) for tick in strip.ticks}
        assert ("sleeve" in names, "hole" in names) == (wanted, True)


def test_the_clock_stands_about_the_bore_and_not_about_the_smaller_sleeve_in_it() -> None:
    """Closed form: the rim of a straight bore lies an arc of R·asin(r / R) from its centre."""
    thumb = replace(THREE.thumb or Thumb(0.9375), forward_in=0.0, right_in=0.0)
    grip = replace(THREE, thumb=thumb, sleeve_pitch_in=(0.0, 0.0))
    disc = not_none(lay_rim_disc(solve_grip(grip), SleeveBore(1.5625, 0.0, 0.0, 2.75)))
    radius_in = 13.5 / math.pi
    inner_ends = [math.hypot(*mark[0]) for mark in disc.hours]
    assert inner_ends == pytest.approx([radius_in * math.asin(0.78125 / radius_in)] * 12, abs=1e-9)
