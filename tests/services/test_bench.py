import math
from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.errors import ConflictError, InvalidError
from app.models import Ball, Bowler, Drilling, DrillingStep, Fit, InsertSystem
from app.models.numbers import LengthNumber, MoveNumber, Numbers, PitchNumber, PlaceNumber
from app.pages.environment import templates
from app.pages.pictures import draw_section
from app.schemas.drillings import ConfirmationForm, PlanForm, TickForm
from app.schemas.fits import FitForm, InForceForm, RevisionForm, TransferForm
from app.schemas.systems import RouteForm, SystemForm
from app.services import bench, changes, checks, drillings, fits, plans, routes, systems, transfers
from app.services.work_outs import work_out
from seed_demo.world import FIT, TWIST_LOCK
from tests.conftest import not_none

Make = Callable[..., Drilling]


@pytest.fixture
def mei(session: Session) -> Bowler:
    return not_none(session.scalar(select(Bowler).where(Bowler.name.startswith("Mei"))))


@pytest.fixture
def make(session: Session, mei: Bowler, who: str) -> Make:
    """Plans a new ball for a new fit on hardware of a kind; answers the drilling with its steps."""

    def made(
        kind: str = "bore_floor",
        hand: str = "left",
        system: dict[str, str] | None = None,
        plan: dict[str, str] | None = None,
        **fit: str,
    ) -> Drilling:
        hardware = None
        if kind != "none":
            form = TWIST_LOCK | {"who": who, "label": f"{kind} {hand}", "height_set_by": kind} | (system or {})
            hardware = systems.add(session, SystemForm.read(form))
        mirrored = (
            {"middle_pitch": "1/4 reverse, 1/16 right", "ring_pitch": "1/4 reverse, 1/8 left"} if hand == "left" else {}
        )
        typed = FIT | mirrored | {"who": who, "hand": hand, "system_id": str(hardware.id) if hardware else ""} | fit
        draft = fits.add_draft(session, mei, FitForm.read(typed))
        session.flush()
        chosen = fits.put_in_force(session, draft.id, InForceForm.read({"who": who, "version": str(draft.version)}))
        ball = Ball(bowler_id=mei.id, label="Black", serial="B-1", circumference_in=Fraction(27))
        session.add(ball)
        session.flush()
        form = {"who": who, "fit_id": str(chosen.id), "system_id": str(hardware.id) if hardware else ""} | (plan or {})
        started = plans.plan_drilling(session, ball, PlanForm.read(form))
        session.flush()
        return bench.get_drilling(session, started.id)

    return made


def ticked(session: Session, of: Drilling, who: str, position: int, **typed: str) -> DrillingStep:
    step = bench.tick(session, of.id, position, TickForm.read({"who": who} | typed))
    session.flush()
    return step


def confirmed(session: Session, of: Drilling, who: str, reason: str = "") -> Drilling:
    made = bench.confirm(session, of.id, ConfirmationForm.read({"who": who, "reason": reason}))
    session.flush()
    return made


STYLES = {
    "fingertip": {},
    "semi-fingertip": {"middle_hole": "3/4", "ring_hole": "3/4"},
    "conventional": {"middle_cut": "", "ring_cut": "", "middle_hole": "7/8", "ring_hole": "27/32"},
}


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


def test_a_tick_keeps_who_when_and_what_was_met_and_leaves_history(session: Session, make: Make, who: str) -> None:
    of = make()
    for position in (1, 2, 3):
        ticked(session, of, who, position)
    confirmed(session, of, who)
    ticked(session, of, who, 4, bit="1 3/8 old")
    step = ticked(session, of, who, 5, depth="2 49/64 collar", bit="1 1/2 no. 2", note="chips long")
    assert (step.met_depth_in, step.met_datum, step.met_bit) == (Fraction(177, 64), "collar", "1 1/2 no. 2")
    assert step.typed["depth"] == "2 49/64 collar"
    line = changes.list_record_lines(session, of)[0]
    assert "2 49/64 collar" in line.new
    assert line.initials == "TB"


def test_no_cut_before_the_pause(session: Session, make: Make, who: str) -> None:
    of = make()
    for position in (1, 2, 3):
        ticked(session, of, who, position)
    of = bench.get_drilling(session, of.id)
    assert bench.needs_pause(of, bench.find_next_step(of))
    with pytest.raises(ConflictError, match="Read back"):
        ticked(session, of, who, 4)
    confirmed(session, of, who)
    of = bench.get_drilling(session, of.id)
    assert not bench.needs_pause(of, bench.find_next_step(of))
    assert (not_none(of.confirmed_by).initials, bool(of.confirmed_at)) == ("TB", True)


def test_nothing_ticks_twice(session: Session, make: Make, who: str) -> None:
    of = make()
    first = ticked(session, of, who, 1)
    when = first.ticked_at
    again = bench.tick(session, of.id, 1, TickForm.read({"who": "1", "note": "again"}))
    assert (again.ticked_at, str(again.staff_id), again.note) == (when, who, "")
    assert len([c for c in changes.list_record_lines(session, of) if c.field.startswith("step 1")]) == 1


def test_steps_are_ticked_and_taken_back_in_their_order(session: Session, make: Make, who: str) -> None:
    of = make()
    for position in range(2, len(of.steps) + 1):
        with pytest.raises(ConflictError, match="Step 1 is still open"):
            ticked(session, of, who, position)
    for position in (1, 2, 3):
        ticked(session, of, who, position)
    with pytest.raises(ConflictError, match="Step 3 is ticked"):
        bench.untick(session, of.id, 1, int(who))
    assert [s.position for s in bench.get_drilling(session, of.id).steps if s.ticked_at] == [1, 2, 3]


def test_a_tick_can_be_taken_back_with_history(session: Session, make: Make, who: str) -> None:
    of = make()
    ticked(session, of, who, 1)
    bench.untick(session, of.id, 1, int(who))
    session.flush()
    assert not_none(bench.find_next_step(bench.get_drilling(session, of.id))).position == 1
    assert changes.list_record_lines(session, of)[0].new == "taken back"


def test_the_last_tick_makes_it_drilled_with_the_bore_as_met(session: Session, make: Make, who: str) -> None:
    of = make()
    for step in of.steps[:-1]:
        if step.is_cut:
            confirmed(session, of, who)
        ticked(session, of, who, step.position, **({"depth": "2 49/64 collar"} if step.action == "bore" else {}))
    of = drillings.get_drilling(session, of.id)
    assert of.state == "drilled"
    assert (not_none(of.bore).depth_in, not_none(of.bore).datum, not_none(of.bore).notch_deg) == (
        Fraction(177, 64),
        "collar",
        Fraction(180),
    )


def test_a_depth_not_read_stays_unknown(session: Session, make: Make, who: str) -> None:
    of = make()
    for step in of.steps[:-1]:
        if step.is_cut:
            confirmed(session, of, who)
        ticked(session, of, who, step.position)
    of = drillings.get_drilling(session, of.id)
    assert (not_none(of.bore).depth_in, not_none(of.bore).datum) == (None, "unknown")


# Checks ---------------------------------------------------------------------------------------------------------


def found(of: Drilling) -> dict[str, checks.Check]:
    return {c.what: c for c in checks.run_checks(not_none(of.plan), work_out(not_none(of.plan)))}


def test_a_sound_plan_holds_every_check(make: Make) -> None:
    assert checks.pick_failing(list(found(make()).values())) == []


@pytest.mark.parametrize(
    ("what", "system", "plan", "fit", "change"),
    [
        ("Least wall of the inner", {"inner_ods": "1 1/4, 1 3/8"}, {"bore_runs": "straight", "inner": "1 1/4"}, {}, "run parallel|runs parallel"),
        ("Least wall of the inner", {}, {"inner": "1 1/4"}, {"thumb_hole": "1 1/16 + 1/8 @ 45 right"}, "1 3/8 inner"),
        ("Inner wider than the thumb hole", {"inner_ods": "1 1/4"}, {}, {"thumb_hole": "1 5/32 + 1/16 @ 45 right"}, "blank"),
        ("Drill clears the slug and spares the lock", {"inner_length": "2 1/4"}, {}, {}, "flat-bottomed"),
        ("Wall between the finger holes", {}, {}, {"middle_depth": "1 1/2", "ring_depth": "1 1/2"}, "less deep"),
        ("Bridge as cut", {}, {}, {"bridge": "1/8"}, "Widen"),
        ("Bore within the ball's safe depth", {"sleeve_length": "3 1/2"}, {}, {}, "Shorten"),
        ("In stock at this size", {"stock": "1 1/4: 0, 1 3/8: 2"}, {}, {}, "Order"),
        ("Surface left between sleeve and fingers", {}, {}, {"spans": "1 1/8 x 1 1/4"}, "narrower"),
    ],
)  # fmt: skip
def test_each_check_fails_with_its_number_limit_reason_and_change(
    make: Make, what: str, system: dict[str, str], plan: dict[str, str], fit: dict[str, str], change: str
) -> None:
    check = found(make(system=system, plan=plan, **fit))[what]
    assert check.holds is False
    assert check.reason
    assert any(word in check.change for word in change.split("|"))
    assert check.limit_words


def test_holes_that_break_into_each_other_are_told_with_their_depth(make: Make) -> None:
    of = make(middle_depth="1 1/2", ring_depth="1 1/2")
    check, wall = found(of)["Wall between the finger holes"], work_out(not_none(of.plan)).walls["middle_ring"]
    assert (check.value_in, wall.least_in) == (0, 0)
    assert 0.8 < not_none(wall.meets_from_in) < 1.5
    assert check.reason == f"they break into each other from {wall.meets_from_in:.2f} in down"


def test_a_wall_is_more_than_the_web_that_bounds_it(make: Make) -> None:
    worked = work_out(not_none(make().plan))
    # the thumb's floor and the finger's side: the rounded ends of a web came half an inch too near
    assert worked.walls["thumb_middle"].least_in > worked.solved.web_thumb_middle_in + 0.05


def test_depths_nobody_gave_are_marked_wherever_they_are_told(make: Make) -> None:
    of = make(middle_depth="", system={"sleeve_length": "2 3/4"})
    worked = work_out(not_none(of.plan))
    assert worked.depths_nobody_gave == [("bore", 2.75), ("middle", 1.0)]
    told = {(s.action, n.what): n.words for s in of.steps for n in s.numbers if n.kind == "length"}
    assert told["middle_bore", "depth"] == "from the surface, to full diameter; ASSUMED"
    assert told["ring_bore", "depth"] == "from the surface, to full diameter"
    assert told["bore", "depth"].endswith("; ASSUMED")
    assert found(of)["Wall between the finger holes"].reason.endswith("; depth of the middle ASSUMED")
    assert draw_section(not_none(of.plan), worked, "middle").words.endswith("Depth of the bore and the middle ASSUMED.")
    assert draw_section(not_none(of.plan), worked, "ring").words.endswith("Depth of the bore ASSUMED.")


def test_a_thumb_without_hardware_has_a_depth_that_nobody_gave(make: Make) -> None:
    of = make("none")
    assert work_out(not_none(of.plan)).depths_nobody_gave == [("thumb", 2.75)]


def test_a_section_is_drawn_on_the_balls_own_circumference(make: Make) -> None:
    of = make()
    planned = not_none(of.plan)
    plan = replace(planned, grip=replace(planned.grip, circumference_in=26.704))
    drawn = draw_section(plan, work_out(plan), "middle")
    assert drawn.radius_in == pytest.approx(26.704 / (2 * math.pi))
    svg = templates.from_string("{{ show.section_picture(drawn) }}").render(drawn=drawn)
    assert 'class="ball" r="4.2501"' in svg


def test_the_window_closes_when_the_hole_is_tilted_in_a_straight_bore(make: Make) -> None:
    # 1/2 reverse in a straight bore: 6.7° of tilt, 0.055 in deeper on one side and shallower on the other
    tight = {"inner_length": "2 1/8", "lock_depth": "2 1/4"}
    like = found(make(system=tight, plan={"point": "180"}, thumb_pitch="1/2 reverse, 0"))
    straight = found(
        make(
            system=tight | {"label": "other"},
            plan={"point": "180", "bore_runs": "straight"},
            thumb_pitch="1/2 reverse, 0",
        )
    )
    name = "Drill clears the slug and spares the lock"
    assert like[name].value_in == pytest.approx(0.125)
    assert not_none(straight[name].value_in) < 0.02


def test_a_flat_bit_opens_the_window_that_a_point_closes(make: Make) -> None:
    of = make(system={"inner_length": "2 1/4"}, plan={"point": "180"})
    assert found(of)["Drill clears the slug and spares the lock"].holds


def test_an_unknown_lock_depth_is_unknown_and_not_a_pass(make: Make) -> None:
    assert found(make(system={"lock_depth": ""}))["Drill clears the slug and spares the lock"].holds is None


def test_no_stock_is_checked_where_none_is_kept(make: Make) -> None:
    assert "In stock at this size" not in found(make(system={"stock": ""}))


def test_a_failing_check_wants_a_reason_before_the_first_cut(session: Session, make: Make, who: str) -> None:
    of = make(bridge="1/8")
    with pytest.raises(InvalidError) as refused:
        confirmed(session, of, who)
    assert "bridge as cut" in refused.value.fields["reason"].message
    assert confirmed(session, of, who, "bowler insists").confirmed_reason == "bowler insists"


def test_an_inner_that_is_not_offered_is_refused(make: Make) -> None:
    with pytest.raises(InvalidError) as refused:
        make(plan={"inner": "1 1/8"})
    assert "inner" in refused.value.fields


# Routes ---------------------------------------------------------------------------------------------------------


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


def test_an_unknown_step_is_refused(session: Session, make: Make, who: str) -> None:
    lock = not_none(session.get(InsertSystem, make().system_id))
    with pytest.raises(InvalidError):
        routes.edit(session, lock.id, RouteForm.read({"who": who, "version": str(lock.version), "keep-x": "1"}))


# Stale plans, transfers, comparisons ------------------------------------------------------------------------------


def test_a_fit_revised_after_the_plan_makes_it_stale_and_changes_nothing(
    session: Session, make: Make, who: str
) -> None:
    of = make()
    before = work_out(not_none(of.plan)).predicted_in("middle")
    assert bench.find_staleness(session, of) is None
    revised = fits.revise(session, not_none(of.fit_id), RevisionForm.read({"who": who, "reason": "shorter"}))
    session.flush()
    typed = FIT | {"who": who, "hand": "left", "spans": "3 15/16 x 4 1/8", "version": str(revised.version)}
    fits.edit(session, revised.id, FitForm.read(typed | {"system_id": str(of.system_id)}))
    session.flush()
    fits.put_in_force(session, revised.id, InForceForm.read({"who": who, "version": str(revised.version)}))
    session.flush()
    of = bench.get_drilling(session, of.id)
    stale = not_none(bench.find_staleness(session, of))
    assert stale.letter == "B"
    assert [line.words for line in stale.lines if line.what == "span to middle"] == ["4/64 shorter"]
    assert work_out(not_none(of.plan)).predicted_in("middle") == before


@pytest.mark.parametrize(
    "changed",
    [{"middle_cut": "1"}, {"system_id": ""}, {"circumference": "26.8"}, {"thumb_hole": "15/16 + 1/8 @ 45 left"}, {"ring_cut": "7/8", "middle_cut": "7/8"}],
)  # fmt: skip
def test_on_other_hardware_the_finished_fit_stays(session: Session, make: Make, changed: dict[str, str]) -> None:
    of = make()
    fit = fits.get_fit(session, not_none(of.fit_id))
    form = TransferForm.read({"system_id": str(of.system_id)} | changed)
    result = transfers.compare_hardware(session, fit, form)
    for name in ("middle", "ring"):
        old, new = getattr(result.before, f"{name}_spans"), getattr(result.after, f"{name}_spans")
        assert new.finished_in == pytest.approx(old.finished_in, abs=1e-9)
    assert result.after.bridge_finished_in == pytest.approx(result.before.bridge_finished_in, abs=1e-9)
    assert any(line.words for line in result.moved) or "circumference" in changed  # moves less than a tenth of a 64th


def test_an_insert_wider_by_a_32nd_shortens_the_cut_span_by_half_of_it(session: Session, make: Make) -> None:
    # hand-worked, first order: the near edge moves by half the growth of the diameter
    fit = fits.get_fit(session, not_none(make().fit_id))
    result = transfers.compare_hardware(
        session, fit, TransferForm.read({"system_id": str(fit.system_id), "middle_cut": "1"})
    )
    moved = result.after.middle_spans.cut_in - result.before.middle_spans.cut_in
    assert moved == pytest.approx(-1 / 64, abs=3e-4)


def test_a_bore_smaller_than_its_finished_hole_is_refused(session: Session, make: Make) -> None:
    fit = fits.get_fit(session, not_none(make().fit_id))
    with pytest.raises(InvalidError) as refused:
        transfers.compare_hardware(session, fit, TransferForm.read({"middle_cut": "1/2"}))
    assert "middle_cut" in refused.value.fields


def test_two_drillings_are_compared_as_a_hand_would_feel_them(session: Session, make: Make, who: str) -> None:
    one = make()
    other_system = {"label": "other", "notch": "7:00"}
    two = make(system=other_system, thumb_pitch="3/8 reverse, 0", spans="4 1/64 x 4 1/8", hand="right")
    lines = {
        d.what: d
        for d in transfers.compare_drillings(
            session, drillings.get_drilling(session, one.id), drillings.get_drilling(session, two.id)
        )
    }
    assert lines["finished span to middle"].words == "+1/64 longer"
    pitch = lines["thumb pitch, forward or reverse"].words
    assert pitch.startswith("4/32 more reverse (1.6")
    assert "the thumb now points more reverse" in pitch


def test_an_inner_taken_to_another_notch_turns(session: Session, who: str) -> None:
    one, two = drillings.get_drilling(session, 1), drillings.get_drilling(session, 2)
    not_none(two.bore).notch_deg = Fraction(210)
    lines = {d.what: d for d in transfers.compare_drillings(session, one, two)}
    assert lines["the same inner is turned"].new == "30° clockwise"
    assert "its oval then at 75°" in lines["the same inner is turned"].words


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        (45, 75, "turned 30° clockwise"),
        (75, 45, "turned 30° anticlockwise"),
        (170, 10, "turned 20° clockwise"),
        (45, 45, ""),
    ],
)
def test_an_oval_turns_the_short_way_round(session: Session, old: int, new: int, words: str) -> None:
    # by hand: an oval has no ends, so 170° to 10° is 20° on and not 160° back
    one, two = drillings.get_drilling(session, 1), drillings.get_drilling(session, 2)
    for of, deg in ((one, old), (two, new)):
        plan = not_none(of.plan)
        thumb = replace(plan.grip.thumb, oval_in=1 / 16, oval_deg=float(deg))
        of.plan = replace(plan, grip=replace(plan.grip, thumb=thumb))
    line = next(d for d in transfers.compare_drillings(session, one, two) if d.what == "thumb oval as specified")
    assert (line.old, line.new, line.words) == (f"1/16 at {old}°", f"1/16 at {new}°", words)


def test_foreign_drillings_without_a_plan_compare_what_is_known(session: Session) -> None:
    assert transfers.compare_drillings(session, drillings.get_drilling(session, 1), drillings.get_drilling(session, 4))


def test_old_plans_without_checks_still_work_out(session: Session) -> None:
    of = drillings.get_drilling(session, 1)
    old = replace(not_none(of.plan), limits=None, system=None)
    assert checks.run_checks(old, work_out(old)) == []
    assert session.get(Fit, of.fit_id)


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
    assert first.near_edge_in[0] < -worked.solved.half_span_in - 0.04
    moves = [n.move_in for n in next(s for s in of.steps if s.action == "oval").numbers if n.kind == "cut"]
    assert moves[0] is None
    turn = math.radians(13)
    last = (3 / 32 * math.cos(turn), 3 / 32 * math.sin(turn))
    assert moves[-1] == pytest.approx(last, abs=1e-12)
    assert len(moves) == len(others) + 1


def test_a_plan_from_before_each_bit_had_its_edge_is_told_anew_and_what_was_ticked_stays(
    session: Session, make: Make, who: str
) -> None:
    of = make(hand="right")
    now_told = {s.action: s.numbers for s in of.steps}
    old: dict[str, Numbers] = {
        "mark": (LengthNumber("thumb cut line", 2.03125, "back from the grip centre"),),
        "thumb_check": (LengthNumber("near edge", 2.03125, "back from the grip centre"),),
        "ring_check": (PlaceNumber("near edge", 2.07, 0.57, "from the grip centre"),),
        "oval": (MoveNumber("plunge 1", -0.022, -0.022),),
    }  # fmt: skip
    for step in of.steps:
        if step.action in old:
            step.numbers = old[step.action]
    session.flush()
    ticked(session, of, who, 1)
    session.flush()
    session.expire_all()
    again = {s.action: s.numbers for s in bench.get_drilling(session, of.id).steps}
    assert again["mark"] == old["mark"]
    for action in ("thumb_check", "ring_check", "oval"):
        assert again[action] == now_told[action]
    session.flush()
    session.expire_all()
    kept = {s.action: s.numbers for s in session.scalars(select(DrillingStep).where(DrillingStep.drilling_id == of.id))}
    assert kept == now_told | old
