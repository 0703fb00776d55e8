"""What a drilling uses is counted down, from the oldest lot with a piece left, below zero if need be."""

import re
from datetime import timedelta
from fractions import Fraction

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.errors import InvalidError
from app.models import Drilling, DrillingStep, InsertSystem, Part, PartMovement, Ticket, now
from app.schemas.drillings import DrilledForm, PluggingForm, SkipForm, TickForm
from app.schemas.parts import PartForm, UndoingForm
from app.schemas.taken_back import TakingBackForm
from app.services import bench, drillings, part_uses, parts, shelf, taken_back
from tests.conftest import Client, not_none
from tests.services.conftest import Make

pytestmark = pytest.mark.both


def put(session: Session, who: str, kind: str, system_id: int | None, **typed: str) -> Part:
    form = {"who": who, "kind": kind, "system_id": str(system_id or ""), "label": kind.capitalize()} | typed
    return parts.add(session, PartForm.read(form))


def supply(session: Session, who: str, part: Part, count: int) -> None:
    shelf.post(session, int(who), part, PartMovement(count=count, cause="delivery"))


def drill(session: Session, who: str, of: Drilling) -> Drilling:
    session.flush()
    form = {"who": who, "version": str(of.version), "depth": "2 3/4 collar", "reason": "as it is"}
    return drillings.mark_drilled(session, of.id, DrilledForm.read(form))


def reach(session: Session, who: str, of: Drilling, action: str) -> DrillingStep:
    """Ticks every step before this one, whatever was met, and returns it."""
    steps = bench.get_drilling(session, of.id).steps
    due = next(step for step in steps if step.action == action)
    for step in steps:
        if step.position < due.position and not step.ticked_at:
            step.ticked_at, step.staff_id = now(), int(who)
    session.flush()
    return due


def put_in(session: Session, who: str, of: Drilling, action: str, **typed: str) -> DrillingStep:
    due = reach(session, who, of, action)
    return bench.tick(session, of.id, due.position, TickForm.read({"who": who} | typed))


def counts_of(session: Session, kept: list[Part]) -> list[int]:
    return [shelf.count_part(session, part.id) for part in kept]


def used_by(session: Session, of: Drilling) -> dict[str, int]:
    query = select(Part.kind, PartMovement.count).join(Part, Part.id == PartMovement.part_id)
    return {kind: count for kind, count in session.execute(query.where(PartMovement.drilling_id == of.id))}


def test_sleeve_inner_and_the_insert_of_each_finger_are_used(session: Session, who: str, make: Make) -> None:
    insert = not_none(session.scalar(select(InsertSystem).where(InsertSystem.digit == "finger")))
    of = make(middle_insert=str(insert.id), ring_insert=str(insert.id))
    middle = put(session, who, "insert", insert.id, size="11/16")
    put(session, who, "insert", insert.id, size="5/8")  # of no finger of this fit
    put(session, who, "sleeve", of.system_id)
    put(session, who, "glue", None)  # nobody opened a pack
    drilled = drill(session, who, of)
    assert drilled.state == "drilled"
    assert used_by(session, of) == {"sleeve": -1, "inner": -1, "insert": -1}
    assert shelf.count_part(session, middle.id) == -1
    assert not_none(of.system).stock == {"1 1/4": 3, "1 3/8": 2}


def test_a_slug_is_used_where_there_is_no_inner(session: Session, who: str, make: Make) -> None:
    of = make("slug", system={"inner_ods": "", "stock": "", "sleeve_od": ""})
    slug = put(session, who, "slug", of.system_id)
    put(session, who, "sleeve", of.system_id)
    drill(session, who, of)
    assert used_by(session, of) == {"slug": -1}
    assert shelf.count_part(session, slug.id) == -1


def test_what_was_skipped_is_not_used(session: Session, who: str, make: Make) -> None:
    of = make()
    put(session, who, "sleeve", of.system_id)
    for step in bench.get_drilling(session, of.id).steps:
        if step.action in {"glue", "lock_in"}:
            step.skip_reason = "a ball for the wall"
    session.flush()
    drill(session, who, of)
    assert used_by(session, of) == {}


def test_a_shop_that_counts_nothing_counts_nothing(session: Session, who: str, make: Make) -> None:
    of = make(system={"stock": ""})
    drill(session, who, of)
    assert (used_by(session, of), not_none(of.system).stock) == ({}, {})


def test_the_oldest_lot_with_a_piece_left_is_used_then_the_newest_below_zero(
    session: Session, who: str, make: Make
) -> None:
    of = make(system={"stock": ""})
    lots = [put(session, who, "inner", of.system_id, size="1 1/4", lot=lot) for lot in "ABC"]
    supply(session, who, lots[1], 1)
    supply(session, who, lots[2], 1)
    plan, counts = drillings.get_plan(of), []
    for _ in range(3):
        part_uses.use_for(session, int(who), of, plan, ())
        counts.append([shelf.count_part(session, part.id) for part in lots])
    assert counts == [[0, 0, 1], [0, 0, 0], [0, 0, -1]]


def test_the_lot_chosen_at_the_bench_is_the_one_that_is_counted(session: Session, who: str, make: Make) -> None:
    of = make(system={"stock": ""})
    lots = [put(session, who, "sleeve", of.system_id, lot=lot) for lot in ("A7", "B2")]
    for part in lots:
        supply(session, who, part, 3)
    glued = put_in(session, who, of, "glue", lot=str(lots[1].id))
    assert glued.part_id == lots[1].id
    assert counts_of(session, lots) == [3, 3]  # it is counted with the ball
    drill(session, who, of)
    assert counts_of(session, lots) == [3, 2]
    with pytest.raises(InvalidError):
        put_in(session, who, make(hand="right"), "glue", lot=str(lots[1].id))  # of other hardware


def test_a_lot_that_was_put_in_is_counted_though_no_longer_kept(session: Session, who: str, make: Make) -> None:
    of = make()
    lots = [put(session, who, "sleeve", of.system_id, lot=lot) for lot in ("A7", "B2")]
    supply(session, who, lots[0], 3)
    supply(session, who, lots[1], 1)
    put_in(session, who, of, "glue", lot=str(lots[1].id))
    lots[1].retired_at = now()  # its last piece was taken from the shelf
    drill(session, who, of)
    assert counts_of(session, lots) == [3, 0]


def test_a_choice_goes_with_its_tick(session: Session, who: str, make: Make) -> None:
    of = make(system={"stock": ""})
    lots = [put(session, who, "sleeve", of.system_id, lot=lot) for lot in ("A7", "B2")]
    for part in lots:
        supply(session, who, part, 3)
    glued = put_in(session, who, of, "glue", lot=str(lots[1].id))
    bench.untick(session, of.id, glued.position, int(who))
    assert glued.part_id is None
    drill(session, who, of)
    assert counts_of(session, lots) == [2, 3]  # nobody chose: the oldest


def test_the_lot_used_last_is_proposed_while_a_piece_is_left(session: Session, who: str, make: Make) -> None:
    of, plan = make(system={"stock": ""}), None
    lots = [put(session, who, "sleeve", of.system_id, lot=lot) for lot in ("A7", "B2", "C1")]
    for part, count in zip(lots, (3, 2, 1), strict=True):
        supply(session, who, part, count)
    proposed = []
    for chosen in ("", str(lots[1].id), "", ""):
        step = reach(session, who, of, "glue")
        offer = part_uses.list_offers(session, of, [step])[0]
        assert [part.id for part, _ in offer.lots] == [part.id for part in lots]
        proposed.append([part.lot for part in lots if part.id == offer.proposed_id])
        step.part_id = int(chosen) if chosen else None
        session.flush()
        plan = plan or drillings.get_plan(of)
        part_uses.use_for(session, int(who), of, plan, {"lock_in"})
    assert proposed == [["A7"], ["A7"], ["B2"], ["A7"]]  # B2 is used up; A7 was used last of the others


def test_a_use_that_was_taken_back_is_not_the_last(session: Session, who: str, make: Make) -> None:
    of = make(system={"stock": ""})
    lots = [put(session, who, "sleeve", of.system_id, lot=lot) for lot in ("A7", "B2")]
    step, used = reach(session, who, of, "glue"), []
    for part in reversed(lots):
        supply(session, who, part, 3)
        step.part_id = part.id
        session.flush()
        used += part_uses.use_for(session, int(who), of, drillings.get_current_plan(of), {"lock_in"})
    assert [offer.proposed_id for offer in part_uses.list_offers(session, of, [step])] == [lots[0].id]
    shelf.undo(session, used[1].id, UndoingForm.read({"who": who, "why": "none was glued"}))
    assert [offer.proposed_id for offer in part_uses.list_offers(session, of, [step])] == [lots[1].id]


def test_nothing_is_asked_where_there_is_one_lot(session: Session, who: str, make: Make) -> None:
    of = make(system={"stock": ""})
    put(session, who, "sleeve", of.system_id, lot="A7")
    retired = put(session, who, "sleeve", of.system_id, lot="B2", is_retired="true")
    step = reach(session, who, of, "glue")
    assert part_uses.list_offers(session, of, [step]) == []
    with pytest.raises(InvalidError):
        put_in(session, who, of, "glue", lot=str(retired.id))


def test_glue_is_counted_by_the_pack_when_one_is_opened(session: Session, who: str, make: Make) -> None:
    """Sent twice it is counted once; a tick that is taken back closes no pack again."""
    of = make(system={"stock": ""})
    glue = put(session, who, "glue", None, label="Resin", lot="R1")
    supply(session, who, glue, 2)
    for _ in range(2):
        glued = put_in(session, who, of, "glue", opened=str(glue.id))
    assert counts_of(session, [glue]) == [1]
    assert used_by(session, of) == {"glue": -1}
    bench.untick(session, of.id, glued.position, int(who))
    put_in(session, who, of, "glue")
    drill(session, who, of)
    assert counts_of(session, [glue]) == [1]
    with pytest.raises(InvalidError):
        put_in(session, who, make(hand="right"), "glue", opened="999")


@pytest.mark.parametrize(
    ("until", "used"),
    [
        ("ream", {}),
        ("notch", {"sleeve": -1}),
        ("drill_inner", {"sleeve": -1}),
        ("zero_inner", {"sleeve": -1, "inner": -1}),
    ],
)
def test_a_ball_plugged_half_drilled_has_used_what_was_put_in_for_good(
    session: Session, who: str, make: Make, until: str, used: dict[str, int]
) -> None:
    """An inner that is locked in and not drilled comes out again; what is glued or drilled does not."""
    of = make()
    put(session, who, "sleeve", of.system_id)
    reach(session, who, of, until)
    form = {"who": who, "version": str(of.version), "reason": "a crack"}
    bench.plug(session, of.id, PluggingForm.read(form))
    assert used_by(session, of) == used


def test_plugging_a_drilled_ball_gives_nothing_back_and_a_plan_called_off_took_nothing(
    session: Session, who: str, make: Make
) -> None:
    of, idle = make(), make(hand="right")
    put(session, who, "sleeve", of.system_id)
    drill(session, who, of)
    used = used_by(session, of)
    bench.plug(session, of.id, PluggingForm.read({"who": who, "version": str(of.version), "reason": "sold"}))
    assert used_by(session, of) == used == {"sleeve": -1, "inner": -1}
    taken_back.call_off(session, idle.id, TakingBackForm.read({"who": who, "version": str(idle.version), "why": "no"}))
    assert used_by(session, idle) == {}


def test_the_bench_offers_the_lots_at_the_step_that_puts_them_in(
    client: Client, session: Session, who: str, make: Make
) -> None:
    of = make()
    lots = [put(session, who, "sleeve", of.system_id, lot=lot) for lot in ("A7", "B2")]
    supply(session, who, lots[1], 4)
    glue = put(session, who, "glue", None, label="Resin", lot="R1")
    session.commit()
    assert 'name="lot"' not in client.get(f"/drillings/{of.id}/bench").text
    step = reach(session, who, of, "glue")
    session.commit()
    page = client.get(f"/drillings/{of.id}/bench").text
    name = f"s{step.position}-"
    chips = dict(re.findall(rf'name="{name}lot" value="(\d+)"( checked)?', page))
    assert chips == {str(lots[0].id): "", str(lots[1].id): " checked"}
    assert re.findall(rf'name="{name}opened" value="(\d*)"( checked)?', page) == [("", " checked"), (str(glue.id), "")]
    form = {"who": who, "steps": f"{step.position},{step.position + 1}", f"{name}lot": str(lots[0].id), f"{name}opened": str(glue.id)}  # fmt: skip
    answer = client.post(f"/drillings/{of.id}/steps/{step.position + 1}/tick", form)
    assert answer.status_code == 303
    session.expire_all()
    assert session.get_one(DrillingStep, step.id).part_id == lots[0].id
    assert shelf.count_part(session, glue.id) == -1
    assert "lot A7" in client.get(f"/drillings/{of.id}").text


def test_a_size_is_found_however_it_was_typed_and_never_another(session: Session, who: str, make: Make) -> None:
    of = make(system={"stock": ""})
    other = put(session, who, "inner", of.system_id, size="1 3/8")
    part_uses.use_for(session, int(who), of, drillings.get_plan(of), ())
    assert shelf.count_part(session, other.id) == 0
    metric = put(session, who, "inner", of.system_id, size="31.75 mm")
    part_uses.use_for(session, int(who), of, drillings.get_plan(of), ())
    assert shelf.count_part(session, metric.id) == -1
    retired = {"kind": "inner", "system_id": str(of.system_id), "label": "Inner", "size": "31.75 mm"}
    retired |= {"is_retired": "true", "who": who, "version": str(metric.version)}
    parts.edit(session, metric.id, PartForm.read(retired))
    assert part_uses.use_for(session, int(who), of, drillings.get_plan(of), ()) == []


def test_the_bowlers_own_inner_takes_a_sleeve_alone(session: Session, who: str) -> None:
    of = bench.get_drilling(session, 1)
    plan = drillings.get_plan(of)
    kinds = [use.kind for use in part_uses.list_uses(of, plan, (), {})]
    assert kinds == ["sleeve", "inner"]
    assert part_uses.list_uses(of, plan, ("glue",), {})[0].size_in == Fraction(5, 4)


def test_a_promised_week_needs_what_its_plans_use(session: Session, who: str, make: Make) -> None:
    soon, late = make(), make(hand="right")
    at = now()
    for of, days in ((soon, 2), (late, 9)):
        session.add(Ticket(ball_id=of.ball_id, what="new", state="ready", promised_at=at + timedelta(days=days), drilling_id=of.id, staff_id=int(who)))  # fmt: skip
    session.add(Ticket(ball_id=1, what="same", state="taken in", promised_at=at, staff_id=int(who)))
    session.add(Ticket(ball_id=2, what="sand", state="taken in", promised_at=at, staff_id=int(who)))
    session.flush()
    week = part_uses.find_week(session, at)
    assert week.needs == {("sleeve", soon.system_id, ""): 1, ("inner", soon.system_id, "1 1/4"): 1}
    assert week.unplanned == 1
    drill(session, who, soon)
    assert part_uses.find_week(session, at).needs == {}


@pytest.mark.parametrize("ended", ["plugged", "not drilled"])
def test_a_drilling_that_ended_needs_nothing_and_its_ticket_a_plan(
    session: Session, who: str, make: Make, ended: str
) -> None:
    of, at = make(), now()
    due = Ticket(ball_id=of.ball_id, what="new", state="ready", promised_at=at, drilling_id=of.id, staff_id=int(who))
    session.add(due)
    session.flush()
    assert (len(part_uses.find_week(session, at).needs), part_uses.find_week(session, at).unplanned) == (2, 0)
    of.state = ended
    session.flush()
    assert part_uses.find_week(session, at) == part_uses.Week({}, 1)
    due.promised_at = at + part_uses.NEEDED_FOR
    session.flush()
    assert part_uses.find_week(session, at).unplanned == 1  # to the second
    due.promised_at += timedelta(seconds=1)
    session.flush()
    assert part_uses.find_week(session, at).unplanned == 0


def test_a_promised_week_needs_nothing_for_steps_that_were_skipped(session: Session, who: str, make: Make) -> None:
    soon, other = make(), make(hand="right")
    at = now()
    for of in (soon, other):
        session.add(Ticket(ball_id=of.ball_id, what="new", state="ready", promised_at=at, drilling_id=of.id, staff_id=int(who)))  # fmt: skip
    for step in bench.get_drilling(session, soon.id).steps:
        step.skip_reason = "her own sleeve" if step.action == "glue" else ""
    session.flush()
    assert part_uses.find_week(session, at).needs == {
        ("inner", soon.system_id, "1 1/4"): 1,
        ("sleeve", other.system_id, ""): 1,
        ("inner", other.system_id, "1 1/4"): 1,
    }


def test_a_bench_that_cut_nothing_uses_nothing(session: Session, who: str, make: Make) -> None:
    of = make()
    before = dict(not_none(of.system).stock)
    for step in bench.get_drilling(session, of.id).steps:
        if step.action != "measure":
            bench.skip(session, of.id, step.position, SkipForm.read({"who": who, "reason": "a trial"}))
    assert (bench.get_drilling(session, of.id).state, not_none(of.system).stock) == ("planned", before)


@pytest.mark.parametrize(
    ("low", "high", "words"),
    [
        ("", "", ""),
        ("1.499", "1.5", ""),
        ("1.485", "1.5", ""),  # 0.015 is less than the tolerance of 1/64
        ("1.484375", "1.49", "not 1 1/2: measures from it come out up to 0.0078 off"),  # 1/64 itself is told
        ("1.484", "1.49", "not 1 1/2: measures from it come out up to 0.008 off"),
        ("1.5", "1.501", "wider than the bore of 1 1/2"),
    ],
)
def test_a_lot_measured_off_is_told_before_it_is_glued(
    session: Session, who: str, make: Make, low: str, high: str, words: str
) -> None:
    """Half of what the outside is off goes into a measure from it: plain geometry of a circle about one axis."""
    of = make()
    of.tolerance_in = Fraction(1, 64)
    assert part_uses.warn_outside(session, of) == ""
    sizes = {"size": "1 1/2", "lot": "A7", "outside_low": low, "outside_high": high}
    put(session, who, "sleeve", of.system_id, **sizes)
    told = part_uses.warn_outside(session, of)
    assert words in told
    assert bool(told) == bool(words)
    if told:
        assert told.startswith(f"Sleeve 1 1/2, lot A7: measured {float(low):.4f}".rstrip("0"))


def test_the_bench_warns_of_a_lot_where_its_sleeve_is_tried(
    client: Client, session: Session, who: str, make: Make
) -> None:
    of = make()
    put(session, who, "sleeve", of.system_id, size="1 1/2", lot="A7", outside_low="1.5", outside_high="1.504")
    warned = []
    for step in bench.get_drilling(session, of.id).steps[:12]:
        session.commit()
        page = client.get(f"/drillings/{of.id}/bench").text
        warned += [step.action] if "wider than the bore of 1 1/2" in page else []
        ticked = session.get_one(DrillingStep, step.id)
        ticked.ticked_at, ticked.staff_id = now(), int(who)
    session.rollback()
    assert warned[0] in {"ream", "drop_in"}
    assert {"drop_in", "glue"} & set(warned)
    assert "mark" not in warned
    assert "flush" not in warned
