import math
from dataclasses import replace
from fractions import Fraction

import pytest
from sqlalchemy.orm import Session

from app.errors import InvalidError
from app.models import Drilling, DrillingStep, InsertSystem, now
from app.models.numbers import CutNumber, LengthNumber, MarkNumber, Numbers, PitchNumber, TextNumber
from app.schemas.drillings import TickForm
from app.schemas.systems import RouteForm
from app.services import bench, changes, routes
from app.services.as_met import put_in_met
from app.services.step_numbers import tell_numbers
from app.services.unsettled import OUTSIDE
from app.services.work_outs import work_out
from tests.conftest import not_none
from tests.services.conftest import Make

pytestmark = pytest.mark.once  # numbers, which no database changes

STYLES = {
    "fingertip": {},
    "semi-fingertip": {"middle_hole": "3/4", "ring_hole": "3/4"},
    "conventional": {"middle_cut": "", "ring_cut": "", "middle_hole": "7/8", "ring_hole": "27/32"},
}


FEWER = {
    "three": {},
    "thumb and middle": {
        "grip_holes": "thumb_middle", "spans": "4", "bridge": "", "bridge_edges": "", "ring_hole": "", "ring_cut": "",
        "ring_pitch": "",
    },
    "thumbless": {"grip_holes": "thumbless", "spans": "2 x 2 1/8", "thumb_hole": "", "thumb_pitch": ""},
}  # fmt: skip


@pytest.mark.parametrize(
    ("holes", "told"),
    [
        ("three", {"mark", "finger_bevel", "measure"}),
        ("thumb and middle", {"mark"}),
        ("thumbless", {"finger_bevel"}),
    ],
)
def test_the_usual_words_of_a_step_stand_where_the_holes_are_the_usual(make: Make, holes: str, told: set[str]) -> None:
    steps = {s.action: s.words for s in make("none", **FEWER[holes]).steps}
    for action in ("mark", "finger_bevel", "measure"):
        assert (steps[action] == routes.ACTIONS[action].words) == (action in told), action
    if holes == "thumb and middle":
        assert "middle" in steps["finger_bevel"] and "middle" in steps["measure"]
    if holes == "thumbless":
        assert "plus" in steps["mark"] and "reach" in steps["measure"]


@pytest.mark.parametrize("hand", ["right", "left"])
@pytest.mark.parametrize("style", STYLES)
@pytest.mark.parametrize("kind", routes.ROUTES)
def test_a_plan_for_each_kind_of_hardware_each_grip_and_both_hands(
    make: Make, kind: str, style: str, hand: str
) -> None:
    system = {"inner_ods": "", "stock": ""} if kind == "slug" else {}
    of = make(kind, hand, system, style=style, **STYLES[style])
    actions = [s.action for s in of.steps]
    assert actions[0] == "mark"
    assert actions[-1] == "measure"
    assert ("glue" in actions) == (kind in {"bore_floor", "ball_surface", "by_hand"})
    assert ("seat_flange" in actions) == (kind == "ball_surface")
    assert ("set_height" in actions) == (kind == "by_hand")
    assert ("drill_thumb" in actions) == (kind in {"slug", "none"})
    assert ("middle_insert" in actions) == (style != "conventional")
    assert "oval" in actions
    cuts = [s for s in of.steps if s.is_cut]
    assert all(s.cautions for s in cuts)
    assert {n.kind for s in of.steps for n in s.numbers} >= {"length", "pitch", "cut"}


def test_a_shim_and_an_unknown_outside_are_told_only_where_there_are_such(make: Make) -> None:
    plan = not_none(make().plan)
    worked, bore = work_out(plan), not_none(plan.bore)
    assert tell_numbers(["shim"], "thumb", plan, worked) == ()
    assert tell_numbers(["shim"], "thumb", replace(plan, bore=None), worked) == ()
    (shim,) = tell_numbers(["shim"], "thumb", replace(plan, bore=replace(bore, shim_in=0.125)), worked)
    assert isinstance(shim, LengthNumber) and shim.value_in == 0.125
    for unknown, is_assumed in (((), False), ((OUTSIDE,), True)):
        (size,) = tell_numbers(["inner"], "thumb", replace(plan, unknown=unknown), worked)
        assert isinstance(size, LengthNumber)
        assert (size.value_in, "ASSUMED" in size.words) == (1.25, is_assumed)


def test_a_round_thumb_has_no_oval_step(make: Make) -> None:
    assert "oval" not in [s.action for s in make(thumb_hole="31/32").steps]


def lengths_of(step: DrillingStep) -> dict[str, float]:
    return {n.what: n.value_in for n in step.numbers if isinstance(n, LengthNumber)}


def test_the_steps_of_a_bore_tell_its_numbers(make: Make) -> None:
    steps = {s.action: s for s in make().steps}
    told = lengths_of(steps["bore"])
    assert told["bit"] == 1.5
    assert told["depth"] == pytest.approx(2.75, abs=0.01)
    pitch = steps["bore_pitch"].numbers[0]
    assert isinstance(pitch, PitchNumber)
    assert pitch.forward_in == -0.25
    assert [n.what for n in steps["oval"].numbers] == ["bit", "plunge 0, near edge", "plunge 1"]
    window = lengths_of(steps["drill_inner"])
    assert window["travel at least"] <= window["travel at most"] == 2.375


def test_a_shops_own_route_is_taken_and_frozen(session: Session, make: Make, who: str) -> None:
    first = make()
    lock = not_none(session.get(InsertSystem, first.system_id))
    posted = {
        "who": who, "version": str(lock.version), "keep-mark": "1", "place-mark": "20", "words-mark": "Scribe the ball",
        "keep-bore": "1", "place-bore": "30", "keep-measure": "1", "place-measure": "99", "keep-clean": "1", "place-clean": "10",
    }  # fmt: skip
    routes.edit(session, lock.id, RouteForm.read(posted))
    session.flush()
    assert [words for _, words in routes.get_route(lock)][:2] == ["Clean chips out of the lock", "Scribe the ball"]
    assert len(bench.get_drilling(session, first.id).steps) > 20  # what was planned keeps the route it was made with
    assert changes.list_record_lines(session, lock)[0].field == "route"


def test_the_usual_route_kept_as_it_is_is_no_route_of_its_own(session: Session, make: Make, who: str) -> None:
    lock = not_none(session.get(InsertSystem, make().system_id))
    posted = {f"keep-{a}": "1" for a in routes.ROUTES["bore_floor"]}
    posted |= {f"place-{a}": str(i) for i, a in enumerate(routes.ROUTES["bore_floor"])}
    routes.edit(session, lock.id, RouteForm.read(posted | {"who": who, "version": str(lock.version)}))
    assert lock.route == []


@pytest.mark.parametrize("own", ["order", "words"])
def test_a_route_differs_by_its_order_or_its_words_alone(session: Session, make: Make, who: str, own: str) -> None:
    lock = not_none(session.get(InsertSystem, make().system_id))
    actions = list(routes.ROUTES["bore_floor"])
    if own == "order":
        actions[1:3] = actions[2:0:-1]
    posted = {f"keep-{a}": "1" for a in actions} | {f"place-{a}": str(i) for i, a in enumerate(actions)}
    posted |= {"words-mark": "Scribe the ball"} if own == "words" else {}
    routes.edit(session, lock.id, RouteForm.read(posted | {"who": who, "version": str(lock.version)}))
    assert [action for action, _ in routes.get_route(lock)] == actions
    assert len(lock.route) == len(actions)


def test_an_unknown_step_is_refused(session: Session, make: Make, who: str) -> None:
    lock = not_none(session.get(InsertSystem, make().system_id))
    with pytest.raises(InvalidError):
        routes.edit(session, lock.id, RouteForm.read({"who": who, "version": str(lock.version), "keep-x": "1"}))


def told_places(of: Drilling, action: str) -> dict[str, tuple[float, float]]:
    """What a step tells of a bit's near edge, by what it is called."""
    step = next(s for s in of.steps if s.action == action)
    return {n.what: n.edge_in for n in step.numbers if n.kind == "cut"}


def hand_worked_edge(centre_in: float, pitch_in: float, bit_in: float) -> float:
    """Along of a near edge on the centre line: asin((p + r)/R) − asin(p/R) ahead of the centre, a closed form."""
    radius = 13.5 / math.pi
    return centre_in + radius * (math.asin((pitch_in + bit_in / 2) / radius) - math.asin(pitch_in / radius))


@pytest.mark.parametrize("kind", ["bore_floor", "ball_surface", "by_hand", "slug"])
def test_the_bore_has_its_own_edge_whatever_is_known_of_the_sleeve(make: Make, kind: str) -> None:
    more = {"inner_ods": "", "stock": ""} if kind == "slug" else {}
    for sleeve, bore in (("1 1/2", "1 1/2"), ("1 1/2", "1 33/64"), ("unknown", "1 1/2")):
        label = {"label": f"{sleeve} in {bore}", "sleeve_od": sleeve, "bore": bore}
        of = make(kind, system=label | more, first_finger="middle")
        centre = work_out(not_none(of.plan)).places["thumb"][0]
        expected = hand_worked_edge(centre, -0.25, not_none(not_none(of.plan).bore).bore_in)
        assert told_places(of, "bore_check")["near edge"] == pytest.approx((expected, 0.0), abs=1e-9)
        assert told_places(of, "mark")["sleeve bore, near edge"] == told_places(of, "bore_check")["near edge"]


def test_an_oval_is_plunged_from_its_first_plunges_own_edge(make: Make) -> None:
    of = make(hand="right", thumb_hole="15/16 + 3/32 13°")
    worked = work_out(not_none(of.plan))
    first, *others = [cut for cut in worked.cuts if cut.hole == "thumb"]
    assert told_places(of, "thumb_check")["plunge 0, near edge"] == first.near_edge_in
    # the finished oval's edge is up to half the oval away and belongs to no bit
    assert first.near_edge_in[0] < -not_none(worked.solved.half_span_in) - 0.04
    moves = [n.move_in for n in next(s for s in of.steps if s.action == "oval").numbers if n.kind == "cut"]
    assert moves[0] is None
    turn = math.radians(13)
    last = (3 / 32 * math.cos(turn), 3 / 32 * math.sin(turn))
    assert moves[-1] == pytest.approx(last, abs=1e-12)
    assert len(moves) == len(others) + 1


def test_two_plunges_are_enough_to_be_told_apart(make: Make) -> None:
    # by hand: 1/64 is less than the 0.088 in that two plunges of 31/32 may lie apart at a cusp of 0.002
    assert "thumb, plunge 0, near edge" in told_places(make(thumb_hole="31/32 + 1/64 13°"), "mark")
    assert "thumb, near edge" in told_places(make(thumb_hole="31/32", system={"label": "round"}), "mark")


def depth_words(of: Drilling, action: str) -> str:
    step = next(s for s in of.steps if s.action == action)
    return next(n.words for n in step.numbers if isinstance(n, LengthNumber) and n.what == "depth")


def test_a_depth_that_nobody_gave_is_marked_where_it_is_cut(session: Session, make: Make) -> None:
    given = make(kind="none", middle_depth="1 1/4", ring_depth="")
    assert depth_words(given, "drill_thumb").endswith("; ASSUMED")
    assert not depth_words(given, "middle_bore").endswith("; ASSUMED")
    assert depth_words(given, "ring_bore").endswith("; ASSUMED")
    known = make(middle_depth="1 1/4", ring_depth="1 1/4")  # our collar is measured on hardware of the demo alone
    assert depth_words(known, "bore").endswith("; ASSUMED")


# Numbered anew --------------------------------------------------------------------------------------------------------


def numbers_of(of: Drilling) -> dict[str, Numbers]:
    return {s.action: s.numbers for s in of.steps}


def done(of: Drilling, action: str) -> DrillingStep:
    """The step of this action; it and every step before it are ticked."""
    one = next(s for s in of.steps if s.action == action)
    for step in of.steps[: one.position]:
        step.ticked_at = now()
    return one


@pytest.mark.parametrize("hand", ["right", "left"])
def test_what_was_met_at_the_bore_numbers_the_steps_that_follow_anew(session: Session, make: Make, hand: str) -> None:
    of = make(hand=hand)
    plan, before = not_none(of.plan), numbers_of(of)
    assert routes.renumber_steps(of, plan) == []  # nothing was met
    bored = done(of, "bore")
    pitched = next(s for s in of.steps if s.action == "bore_pitch")
    pitched.met_forward_in = Fraction(0)
    bored.met_depth_in, bored.met_datum = Fraction(23, 8), "collar"
    as_met = put_in_met(plan, of.steps, shim_in=1 / 8)
    changed = routes.renumber_steps(of, as_met)
    session.flush()
    session.expire_all()
    after = numbers_of(bench.get_drilling(session, of.id))
    assert {s.action for s in changed} == {"drop_in", "glue", "drill_inner", "measure"}
    assert {action for action in after if after[action] != before[action]} == {s.action for s in changed}
    assert after["drop_in"] == after["glue"] == (LengthNumber("shim", 1 / 8, "under the sleeve"),)
    worked = work_out(as_met)
    told = [n.value_in for n in after["measure"] if isinstance(n, LengthNumber)]
    assert told == pytest.approx([worked.predicted_in("middle"), worked.predicted_in("ring")], abs=1e-12)
    window = {n.what: n.value_in for n in after["drill_inner"] if isinstance(n, LengthNumber)}
    assert window["travel at least"] == pytest.approx(not_none(worked.window).least_in, abs=1e-12)


def test_a_mark_on_the_ball_stays_and_an_oval_of_another_bit_is_plunged_anew(make: Make) -> None:
    of = make(hand="right", thumb_hole="15/16 + 3/32 13°")
    plan, before = not_none(of.plan), numbers_of(of)
    wrong = done(of, "drill_inner")
    wrong.met_bit_in = Fraction(29, 32)
    assert {s.action for s in routes.renumber_steps(of, put_in_met(plan, of.steps))} == {"oval"}
    wrong.met_bit_in = None
    middle = done(of, "middle_bore")
    middle.met_bit_in = Fraction(1)  # its place turns the centre line by 1/128, which no mark on the ball follows
    as_met = put_in_met(plan, of.steps)
    routes.renumber_steps(of, as_met)
    assert numbers_of(of)["ring_check"] == before["ring_check"]
    assert numbers_of(of)["middle_check"] == before["middle_check"]  # it is ticked
    assert work_out(as_met).cuts_of("ring")[0].near_edge_in != work_out(plan).cuts_of("ring")[0].near_edge_in


def test_marks_stay_where_they_were_told_as_long_as_the_bit_is_the_same() -> None:
    bit, wider = LengthNumber("bit", 1.0), LengthNumber("bit", 1.125)
    old, new = CutNumber("near edge", (2.0, 0.5), (2.5, 0.6)), CutNumber("near edge", (2.1, 0.5), (2.6, 0.6))
    line, moved = MarkNumber("cut line", 2.0, "back"), MarkNumber("cut line", 2.1, "back")
    other = MarkNumber("cut line", 0.3, "aside")
    deep, deeper = LengthNumber("depth", 2.0), LengthNumber("depth", 2.5)
    assert routes._keep_marks((bit, deep, old, line), (bit, deeper, new, moved, other)) == (
        bit, deeper, old, line, other,
    )  # fmt: skip
    assert routes._keep_marks((bit, old, line), (wider, new, moved)) == (wider, new, moved)
    assert routes._keep_marks((old, line), (new, moved)) == (new, moved)


def test_steps_frozen_before_marks_were_told_get_those_beside_their_edges(
    session: Session, make: Make, who: str
) -> None:
    of = make(hand="right")
    told = numbers_of(of)
    for step in of.steps:
        step.numbers = tuple(n for n in step.numbers if n.kind != "mark")
    session.flush()
    bench.tick(session, of.id, 1, TickForm.read({"who": who}))
    session.flush()
    session.expire_all()
    again = numbers_of(bench.get_drilling(session, of.id))
    assert any(n.kind == "mark" for n in told["ring_check"])
    assert not any(n.kind == "mark" for n in again["mark"])  # it is ticked
    assert {action: again[action] for action in again if action != "mark"} == {
        action: told[action] for action in told if action != "mark"
    }


def test_lift_and_oval_of_an_insert_are_told_each_with_its_own_direction(make: Make) -> None:
    plan = not_none(make(hand="right").plan)
    middle = replace(not_none(plan.grip.middle), lift_in=1 / 32, lift_deg=180.0, oval_in=1 / 16, oval_deg=45.0)
    plan = replace(plan, grip=replace(plan.grip, middle=middle))
    told = tell_numbers(["middle_insert"], "middle", plan, work_out(plan))
    assert [n.words for n in told if isinstance(n, TextNumber)] == [
        "its inside stands 1/32 off the axis, towards 6:00 (180°)",
        "its inside is 1/16 wider, towards 1:30 (45°)",
    ]
