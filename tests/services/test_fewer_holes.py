"""Grips of fewer holes and an offset thumb, from fit to plan, cuts and measurement, by the contract's numbers.

Outside sources: the written numbers of the calculation contract, "Grips with fewer holes" and "Offset thumb"; arcs by
the spherical law of cosines.
"""

import math
from fractions import Fraction

import pytest
from sqlalchemy.orm import Session

from app.db import revision
from app.errors import InvalidError
from app.models import Ball, Bowler, Drilling
from app.models.plans import Plan, read_plan, write_plan
from app.schemas.drillings import ConfirmationForm, DrilledForm, FindingForm, FinishForm, PlanForm, TickForm
from app.schemas.fits import FitForm, RevisionForm, TransferForm
from app.services import (
    bench,
    bench_paper,
    differences,
    drillings,
    felt,
    fits,
    grips,
    measurements,
    plans,
    portable,
    routes,
    transfers,
)
from app.services.work_outs import work_out
from seed_demo.world import FIT
from tests.conftest import not_none
from tests.services.conftest import Make
from tests.services.test_portable import filled_from, lines_of

CONTRACT_IN = 1e-6
R = 13.5 / math.pi
NO_THUMB = {"thumb_hole": "", "thumb_pitch": ""}
NO_RING = {"ring_hole": "", "ring_cut": "", "ring_pitch": ""}
THUMBLESS = {"grip_holes": "thumbless", "spans": "2 x 2 1/8", "bridge": "1/4", **NO_THUMB}
ONE_FINGER = {"grip_holes": "thumb_middle", "spans": "4", "bridge": "", "bridge_edges": "", **NO_RING}
OFFSET = {"spans": "4 x 4 1/8", "bridge": "1/4"}


def pitches(hand: str) -> dict[str, str]:
    """The pitches of the contract's example, mirrored for a left hand."""
    side = "left" if hand == "right" else "right"
    return {"middle_pitch": "1/4 reverse, 0", "ring_pitch": f"1/4 reverse, 1/8 {side}"}


def across(hand: str, at: tuple[float, float]) -> tuple[float, float]:
    return at if hand == "right" else (at[0], -at[1])


def without_thumb(make: Make, hand: str = "right") -> Drilling:
    return make(kind="none", hand=hand, **THUMBLESS, **pitches(hand))


def with_one_finger(make: Make, hand: str = "right") -> Drilling:
    bent = "right" if hand == "right" else "left"
    own = pitches(hand) | {"thumb_hole": f"15/16 + 1/16 @ 45 {bent}"} | ONE_FINGER
    return make(hand=hand, **own)


def plan_of(of: Drilling) -> Plan:
    return not_none(of.plan)


def arc_in(a: tuple[float, float], b: tuple[float, float]) -> float:
    """The arc between two places (along, across), by the dot product of their unit vectors."""
    points = [
        (math.sin(x / R), math.cos(x / R) * math.sin(y / R), math.cos(x / R) * math.cos(y / R)) for y, x in (a, b)
    ]
    return R * math.acos(sum(p * q for p, q in zip(*points, strict=True)))


def drilled(session: Session, who: str, of: Drilling) -> Drilling:
    bench_paper.finish_on_paper(
        session, of.id, DrilledForm.read({"who": who, "version": str(of.version), "reason": "tried"})
    )
    session.flush()
    return of


# From fit to cuts -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("hand", ["right", "left"])
def test_without_a_thumb_the_plus_is_the_centre_and_reaches_run_from_it(make: Make, hand: str) -> None:
    of = without_thumb(make, hand)
    worked = work_out(plan_of(of))
    assert worked.places["middle"] == pytest.approx(across(hand, (2.417505, -0.607353)), abs=CONTRACT_IN)
    assert worked.places["ring"] == pytest.approx(across(hand, (2.546569, 0.607990)), abs=CONTRACT_IN)
    edges = {cut.hole: cut.near_edge_in for cut in worked.cuts}
    assert list(edges) == ["middle", "ring"]
    assert [arc_in((0, 0), edges[name]) for name in edges] == pytest.approx([2.0, 2.125], abs=CONTRACT_IN)
    assert worked.predictions_in == pytest.approx({"middle": 2.0, "ring": 2.125, "bridge": 0.25}, abs=CONTRACT_IN)
    assert (plan_of(of).bore, plan_of(of).inner, worked.solved.half_span_in) == (None, None, None)
    assert {step.hole for step in of.steps} == {"ball", "middle", "ring", "fingers"}
    assert read_plan(write_plan(plan_of(of))) == plan_of(of)


@pytest.mark.parametrize("hand", ["right", "left"])
def test_one_finger_stands_on_the_centre_line_and_has_one_sleeve_to_cut(make: Make, hand: str) -> None:
    of = with_one_finger(make, hand)
    worked = work_out(plan_of(of))
    places = [at for place in worked.places.values() for at in place]
    assert places == pytest.approx([-2.490573, 0, 2.484633, 0], abs=CONTRACT_IN)
    assert worked.solved.spans["middle"].finished_in == pytest.approx(4.140734, abs=CONTRACT_IN)
    assert worked.predictions_in == pytest.approx({"middle": 3.739297}, abs=CONTRACT_IN)
    assert {cut.hole for cut in worked.cuts} == {"bore", "thumb", "middle"}
    assert not {step.action for step in of.steps} & {action for action in routes.ACTIONS if "ring" in action}


@pytest.mark.parametrize("hand", ["right", "left"])
def test_an_offset_thumb_stands_beside_the_centre_line(make: Make, hand: str) -> None:
    oval = f"15/16 + 1/16 @ 45 {'right' if hand == 'right' else 'left'}"
    of = make(hand=hand, thumb_hole=oval, thumb_offset=f"1/8 {hand}", **OFFSET, **pitches(hand))
    worked = work_out(plan_of(of))
    expected = {"thumb": (-2.521969, 0.125), "middle": (2.409478, -0.604743), "ring": (2.581909, 0.605228)}
    for name, at in expected.items():
        assert worked.places[name] == pytest.approx(across(hand, at), abs=CONTRACT_IN)
    told = [worked.predicted_in(finger) for finger in ("middle", "ring")]
    assert told == pytest.approx([3.734609, 3.866916], abs=CONTRACT_IN)


def test_grips_of_fewer_holes_go_out_and_come_back_byte_for_byte(session: Session, make: Make, empty_url: str) -> None:
    for of in (without_thumb(make), make(kind="none", hand="right", thumb_offset="1/8 left", spans="4 x 4 1/8")):
        assert of.id
    session.flush()
    lines = list(portable.export_lines(session.connection(), revision()))
    assert any('"grip_holes":"thumbless"' in line.replace(" ", "") for line in lines)
    filled_from(empty_url, lines)
    assert lines_of(empty_url) == lines


# What has no meaning --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("typed", "fields"),
    [
        (THUMBLESS | {"thumb_hole": "15/16", "thumb_pitch": "unknown"}, {"thumb_hole", "thumb_pitch"}),
        (THUMBLESS | {"thumb_offset": "1/8 left"}, {"thumb_offset"}), (THUMBLESS | {"span_edges": "sleeve"}, {"span_edges"}),
        (THUMBLESS | {"spans": "2 x 2 1/8 sleeve", "span_edges": "unknown"}, {"span_edges"}), (THUMBLESS | {"system_id": "1"}, {"system_id"}),
        (THUMBLESS | {"bridge": "3"}, {"bridge"}), (THUMBLESS | {"spans": "1/2 x 4"}, {"spans"}), (THUMBLESS | {"bridge_edges": ""}, {"bridge_edges"}),
        (ONE_FINGER | {"spans": "4 x 4 1/8"}, {"spans"}), (ONE_FINGER | {"bridge": "1/4"}, {"bridge"}), (ONE_FINGER | {"ring_hole": "11/16"}, {"ring_hole"}),
        (ONE_FINGER | {"thumb_offset": "1/8 left"}, {"thumb_offset"}), (ONE_FINGER | {"thumb_offset": "unknown"}, {"thumb_offset"}), ({"grip_holes": "none"}, {"grip_holes"}), ({"thumb_offset": "1/8"}, {"thumb_offset"}),
    ],
)  # fmt: skip
def test_what_a_grip_has_not_is_asked_about_at_its_field(
    session: Session, mei: Bowler, who: str, typed: dict[str, str], fields: set[str]
) -> None:
    with pytest.raises(InvalidError) as refused:
        fits.add_draft(session, mei, FitForm.read(FIT | {"who": who, "hand": "left"} | typed))
    assert set(refused.value.fields) == fields


def test_a_draft_that_loses_a_hole_keeps_nothing_of_it(session: Session, mei: Bowler, who: str) -> None:
    form = FIT | {"who": who, "hand": "left"}
    draft = fits.add_draft(session, mei, FitForm.read(form | {"thumb_offset": "1/8 left"}))
    session.flush()
    assert draft.hole("thumb").offset_in == Fraction(-1, 8)
    fits.edit(session, draft.id, FitForm.read(form | THUMBLESS | {"version": str(draft.version)}))
    session.flush()
    thumb = draft.hole("thumb")
    assert [thumb.hole_in, thumb.forward_in, thumb.oval_in, thumb.offset_in] == [None] * 4
    assert grips.list_missing(draft) == []
    fits.edit(session, draft.id, FitForm.read(form | ONE_FINGER | {"version": str(draft.version)}))
    assert [draft.span_middle_in, draft.span_ring_in, draft.bridge_in, draft.bridge_edges] == [4, None, None, ""]
    assert (draft.hole("ring").depth_in, "ring_depth" in draft.typed) == (None, False)


@pytest.mark.parametrize("typed", [{"system_id": "1"}, {"inner_id": "1"}, {"inner": "1 1/4"}, {"notch": "6:00"}])
def test_a_plan_without_a_thumb_takes_no_hardware(
    session: Session, make: Make, who: str, typed: dict[str, str]
) -> None:
    of = without_thumb(make)
    ball = not_none(session.get(Ball, of.ball_id))
    form = PlanForm.read({"who": who, "fit_id": str(of.fit_id), "system_id": "", "reason": "tried"} | typed)
    with pytest.raises(InvalidError) as refused:
        plans.preview(session, ball, form)
    assert set(refused.value.fields) == set(typed)


# As met, measured and compared ----------------------------------------------------------------------------------------


def test_a_wider_bit_keeps_its_reach_and_narrows_the_bridge(session: Session, make: Make, who: str) -> None:
    of = without_thumb(make)
    before = work_out(plan_of(of))
    for due in of.steps:
        if due.is_cut:
            bench.confirm(session, of.id, ConfirmationForm.read({"who": who, "reason": "tried"}))
        met = {"bit": "63/64", "not_read": "true"} if due.action == "middle_bore" else {}
        bench.tick(session, of.id, due.position, TickForm.read({"who": who} | met))
        session.flush()
        if due.action == "middle_bore":
            break
    now = work_out(not_none(bench.get_drilling(session, of.id).as_met))
    assert now.predicted_in("middle") == pytest.approx(before.predicted_in("middle"), abs=1e-7)
    assert now.predicted_in("ring") == pytest.approx(before.predicted_in("ring"), abs=1e-7)
    wider = {"middle": 63 / 64, "ring": 31 / 32}
    # by hand: the plus sees both centres at the angle that it saw them at, the middle one further out
    seen = [_angle_at_plus(worked.places["middle"], worked.places["ring"]) for worked in (before, now)]
    assert seen[1] == pytest.approx(seen[0], abs=1e-6)  # pitches turn with the centre line
    assert now.predictions_in["bridge"] < before.predictions_in["bridge"] - 0.004
    assert {name: finger.cut_in for name, finger in now.solved.grip.fingers.items()} == wider


def _angle_at_plus(a: tuple[float, float], b: tuple[float, float]) -> float:
    x, y, z = (side / R for side in (arc_in((0, 0), a), arc_in((0, 0), b), arc_in(a, b)))
    return math.acos((math.cos(z) - math.cos(x) * math.cos(y)) / (math.sin(x) * math.sin(y)))


def test_reaches_and_bridge_are_measured_against_what_geometry_predicts(session: Session, make: Make, who: str) -> None:
    of = drilled(session, who, without_thumb(make))
    typed = {"who": who, "is_reached": "true", "middle": "2 1/64", "ring": "2 1/8", "bridge": "5/16"}
    with pytest.raises(InvalidError) as refused:
        measurements.record_measurement(
            session, of.id, FinishForm.read(typed | {"bridge": "", "version": str(of.version)})
        )
    assert set(refused.value.fields) == {"bridge"}
    measurements.record_measurement(session, of.id, FinishForm.read(typed | {"version": str(of.version)}))
    session.flush()
    session.expire_all()
    result = not_none(measurements.compare_built(bench.get_drilling(session, of.id, *drillings.AS_BUILT)))
    told = {part: (d.difference_in, d.verdict) for part, d in result.parts.items()}
    assert {part: difference for part, (difference, _) in told.items()} == pytest.approx(
        {"middle": 1 / 64, "ring": 0, "bridge": 1 / 16}, abs=CONTRACT_IN
    )
    assert [verdict for _, verdict in told.values()] == ["within", "within", "long"]
    assert not_none(result.as_drilled.bridge_cut_in) == pytest.approx(5 / 16, abs=CONTRACT_IN)


def test_one_finger_is_measured_by_one_span(session: Session, make: Make, who: str) -> None:
    own = {
        "grip_holes": "thumb_ring",
        "middle_hole": "",
        "middle_cut": "",
        "middle_pitch": "",
        "ring_pitch": "1/4 reverse, 0",
    }
    of = make(kind="none", spans="4", bridge="", bridge_edges="", **own)
    drilled(session, who, of)
    for typed, field in (
        ({"ring": ""}, "ring"),
        ({"ring": "4", "middle": "4"}, "middle"),
        ({"ring": "4", "bridge": "1/4"}, "bridge"),
    ):
        with pytest.raises(InvalidError) as refused:
            measurements.record_measurement(
                session, of.id, FinishForm.read({"who": who, "version": str(of.version)} | typed)
            )
        assert field in refused.value.fields
    measurements.record_measurement(
        session, of.id, FinishForm.read({"who": who, "ring": "4", "version": str(of.version)})
    )
    session.flush()
    assert of.verdict == "within"
    finding = {"who": who, "what": "middle_hole", "value": "11/16", "note": "?", "version": str(of.version)}
    with pytest.raises(InvalidError) as refused:
        measurements.add_finding(session, of.id, FindingForm.read(finding))
    assert set(refused.value.fields) == {"what"}


def test_a_grip_is_compared_with_one_of_other_holes(session: Session, make: Make, who: str) -> None:
    whole, bare = make(kind="none", hand="right", **pitches("right")), without_thumb(make)
    whole, bare = (drillings.get_drilling(session, of.id) for of in (whole, bare))
    lines = {line.what: line for line in felt.compare_drillings(session, whole, bare)}
    assert {line.words for what, line in lines.items() if what.startswith("finished, to")} == {"not the same grip"}
    assert "thumb pitch, left or right" not in lines
    pair = [fits.get_fit(session, not_none(of.fit_id)) for of in (whole, bare)]
    told = {line.what: line for line in differences.compare_fits(*pair)}
    assert told["grip"].words == told["thumb"].words == "changed"
    assert (told["to middle"].old, told["to middle"].new) == ("span 4", "reach 2")
    revised = fits.revise(session, pair[1].id, RevisionForm.read({"who": who, "reason": "shorter"}))
    session.flush()
    assert [line.words for line in differences.compare_fits(pair[1], revised)] == [""] * len(
        differences.compare_fits(pair[1], revised)
    )


def test_a_transfer_keeps_reaches_and_has_no_hardware_to_change(session: Session, make: Make) -> None:
    fit = fits.get_fit(session, not_none(without_thumb(make).fit_id))
    moved = transfers.compare_hardware(session, fit, TransferForm.read({"middle_cut": "1"}))
    assert moved.after.spans["middle"].finished_in == pytest.approx(moved.before.spans["middle"].finished_in, abs=1e-9)
    assert moved.after.spans["middle"].cut_in < moved.before.spans["middle"].cut_in - 0.01
    assert not [line for line in moved.moved if "thumb" in line.words]
    with pytest.raises(InvalidError) as refused:
        transfers.compare_hardware(session, fit, TransferForm.read({"system_id": "1"}))
    assert set(refused.value.fields) == {"system_id"}
