"""The shelf's counts are the sums of their movements, whatever happened to them; the stock of hardware follows."""

from collections.abc import Callable
from fractions import Fraction

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.errors import ConflictError, InvalidError, NotFoundError
from app.models import Change, InsertSystem, Part, PartMovement
from app.schemas.parts import CountForm, DeliveryForm, PartForm, UndoingForm
from app.services import bench, changes, drillings, part_uses, parts, shelf
from tests.conftest import not_none

pytestmark = pytest.mark.both
Shelve = Callable[..., Part]


@pytest.fixture
def put(session: Session, who: str) -> Shelve:
    def made(
        kind: str = "inner", system_id: str = "1", label: str = "Inner", size: str = "1 1/4", **typed: str
    ) -> Part:
        form = {"who": who, "kind": kind, "system_id": system_id, "label": label, "size": size} | typed
        return parts.add(session, PartForm.read(form))

    return made


def deliver(session: Session, who: str, part: Part, count: int) -> PartMovement:
    return shelf.deliver(session, part.id, DeliveryForm.read({"who": who, "count": str(count)}))


def recount(session: Session, who: str, part: Part, counted: int, version: int | None = None) -> PartMovement | None:
    form = {"who": who, "counted": str(counted), "why": "counted", "version": str(version or part.version)}
    return shelf.count(session, part.id, CountForm.read(form))


def take_back(session: Session, who: str, movement_id: int, instead: int | None = None) -> PartMovement:
    form = {"who": who, "why": "a slip", "instead_id": str(instead or "")}
    return shelf.undo(session, movement_id, UndoingForm.read(form))


ACTS = st.lists(
    st.one_of(
        st.tuples(st.just("deliver"), st.integers(0, 3), st.integers(1, 30)),
        st.tuples(st.just("count"), st.integers(0, 3), st.integers(0, 30)),
        st.tuples(st.just("use"), st.just(0), st.just(0)),
        st.tuples(st.just("undo"), st.integers(0, 40), st.just(0)),
        st.tuples(st.just("instead"), st.integers(0, 40), st.integers(0, 3)),
    ),
    max_size=14,
)


@given(acts=ACTS)
@settings(max_examples=30, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_a_count_is_the_sum_of_its_movements_over_random_histories(
    session: Session, who: str, put: Shelve, acts: list[tuple[str, int, int]]
) -> None:
    """The tally beside it is kept by hand: a plain number for each part, changed as each act says."""
    try:
        check_against(session, play(session, who, put, acts))
    finally:
        session.rollback()


def play(session: Session, who: str, put: Shelve, acts: list[tuple[str, int, int]]) -> dict[int, int]:
    """Does the acts one after another; returns the count of each part as tallied by hand."""
    own = not_none(session.scalar(select(Part).where(Part.system_id == 1, Part.size_in == Fraction(5, 4))))
    kept = [own, put(lot="A7"), put(size="1 3/8", lot="B1"), put("sleeve", label="Sleeve", size="")]
    tally = {part.id: shelf.count_part(session, part.id) for part in session.scalars(select(Part))}
    posted: dict[int, tuple[int, int]] = {}  # part and count of each movement that may still be undone
    drilling = bench.get_drilling(session, 1)
    plan = drillings.get_plan(drilling)
    for act, which, number in acts:
        if act == "deliver":
            made = deliver(session, who, kept[which], number)
            posted[made.id] = (made.part_id, number)
            tally[kept[which].id] += number
        elif act == "count":
            counted = recount(session, who, kept[which], number)
            assert (counted is None) == (tally[kept[which].id] == number)
            if counted:
                posted[counted.id] = (counted.part_id, number - tally[kept[which].id])
            tally[kept[which].id] = number
        elif act == "use":
            used = part_uses.use_for(session, int(who), drilling, plan, {"lock_in"} if which else ())
            assert len(used) == 2  # sleeve and inner; nobody counts the finger inserts
            for movement in used:
                posted[movement.id] = (movement.part_id, -1)
                tally[movement.part_id] -= 1
        elif posted:
            movement_id = sorted(posted)[which % len(posted)]
            part_id, count = posted[movement_id]
            other = kept[number] if act == "instead" else None
            movement = session.get_one(PartMovement, movement_id)
            can_swap = other and movement.cause == "use" and other in shelf.list_others(session, shelf.get_part(session, part_id))  # fmt: skip
            if other and not can_swap:
                with pytest.raises(InvalidError):
                    take_back(session, who, movement_id, other.id)
                continue
            take_back(session, who, movement_id, other.id if other else None)
            del posted[movement_id]
            tally[part_id] -= count
            if other:
                tally[other.id] += count
                newest = not_none(session.scalar(select(func.max(PartMovement.id))))
                posted[newest] = (other.id, count)
            with pytest.raises(ConflictError):
                take_back(session, who, movement_id)
    return tally


def check_against(session: Session, tally: dict[int, int]) -> None:
    rows = session.execute(select(PartMovement.part_id, PartMovement.count)).all()
    sums = {part_id: sum(count for of, count in rows if of == part_id) for part_id in tally}
    assert sums == tally
    assert {shelved.part.id: shelved.count for shelved in shelf.list_shelf(session, {})} == tally
    for part_id, count in tally.items():
        assert shelf.count_part(session, part_id) == count
        lines = shelf.list_movements(session, shelf.get_part(session, part_id))
        assert [line.after for line in lines[:1]] == ([count] if lines else [])
        assert [line.after - line.movement.count for line in lines[-1:]] == ([0] if lines else [])
    for system in session.scalars(select(InsertSystem)):
        inners = session.scalars(select(Part).where(Part.kind == "inner", Part.system_id == system.id)).all()
        by_size: dict[str, int] = {}
        for part in inners:
            size = {Fraction(5, 4): "1 1/4", Fraction(11, 8): "1 3/8"}[not_none(part.size_in)]
            by_size[size] = by_size.get(size, 0) + tally[part.id]
        assert system.stock == by_size
        assert (system.typed["stock"] if by_size else "") == ", ".join(f"{s}: {by_size[s]}" for s in sorted(by_size))


def test_every_movement_has_its_line_of_history(session: Session, who: str, put: Shelve) -> None:
    part = put(lot="A7")
    moved = deliver(session, who, part, 5)
    recount(session, who, part, 3)
    take_back(session, who, moved.id)
    lines = changes.list_record_lines(session, part)
    assert [(line.old, line.new, line.why) for line in lines[:3]] == [
        ("3", "-2", "taken back: a slip"),
        ("5", "3", "counted: counted"),
        ("0", "5", "delivered"),
    ]
    assert {line.initials for line in lines} == {"TB"}
    lock = session.get_one(InsertSystem, 1)
    assert lock.stock["1 1/4"] == shelf.count_part(session, 1) - 2
    assert changes.list_record_lines(session, lock)[0].new == f"1 1/4: {lock.stock['1 1/4']}"


def test_a_count_that_is_right_posts_nothing(session: Session, who: str, put: Shelve) -> None:
    part = put(lot="A7")
    deliver(session, who, part, 5)
    before = session.scalar(select(func.count(Change.id)))
    assert recount(session, who, part, 5) is None
    assert session.scalar(select(func.count(Change.id))) == before


def test_who_counted_while_one_was_used_counts_again(session: Session, who: str, put: Shelve) -> None:
    part = put(lot="A7")
    seen = part.version
    deliver(session, who, part, 5)
    with pytest.raises(ConflictError, match="changed count"):
        recount(session, who, part, 4, version=seen)
    assert shelf.count_part(session, part.id) == 5


def test_an_undo_is_not_undone_and_a_movement_only_once(session: Session, who: str, put: Shelve) -> None:
    moved = deliver(session, who, put(lot="A7"), 5)
    undone = take_back(session, who, moved.id)
    assert (undone.count, undone.undoes_id, undone.cause) == (-5, moved.id, "undo")
    for movement in (moved, undone):
        with pytest.raises(ConflictError):
            take_back(session, who, movement.id)
    with pytest.raises(NotFoundError):
        take_back(session, who, 9999)
    lines = shelf.list_movements(session, shelf.get_part(session, moved.part_id))
    assert [line.may_be_undone for line in lines] == [False, False]


def test_low_and_lacking_are_told_over_all_lots(session: Session, who: str, put: Shelve) -> None:
    first, second = put("glue", "", "Resin", "", lot="1", least="3", cure_minutes="15"), put("glue", "", "Resin", "", lot="2", least="3")  # fmt: skip
    deliver(session, who, first, 2)
    found = {shelved.part.id: shelved for shelved in shelf.list_shelf(session, {})}
    assert [found[of.id].is_low for of in (first, second)] == [True, True]
    deliver(session, who, second, 1)
    sleeve = put("sleeve", label="Sleeve", size="1 1/2", lot="S1")
    needs: dict[tuple[str, int | None, str], int] = {("inner", 1, "1 1/4"): 6, ("sleeve", 1, ""): 2}
    found = {shelved.part.id: shelved for shelved in shelf.list_shelf(session, needs)}
    assert [found[of.id].is_low for of in (first, second)] == [False, False]
    inner = next(s for s in found.values() if (s.part.system_id, s.part.size_in) == (1, Fraction(5, 4)))
    assert (inner.needed, inner.short) == (6, 6 - inner.alike)
    assert (found[sleeve.id].needed, found[sleeve.id].short) == (2, 2)


def test_a_drilling_is_named_beside_what_it_used(session: Session, who: str) -> None:
    of = bench.get_drilling(session, 1)
    part_uses.use_for(session, int(who), of, drillings.get_plan(of), ())
    part = not_none(session.scalar(select(Part).where(Part.system_id == 1, Part.size_in == Fraction(5, 4))))
    newest = shelf.list_movements(session, part)[0]
    assert (newest.ball, newest.movement.drilling_id) == (of.ball.label, 1)
    assert newest.after == shelf.count_part(session, part.id)


def test_what_is_typed_of_a_bowlers_part_is_found_by_erasing(session: Session, who: str, put: Shelve) -> None:
    """A use set right at another lot: the reason may name the bowler, so each line with it is tied to them."""
    first, second = put(lot="A7"), put(lot="B2")
    used = PartMovement(count=-1, cause="use", why="a thumb was drilled in it", drilling_id=1)
    shelf.post(session, int(who), first, used)
    form = {"who": who, "why": "Anna had the other one", "instead_id": str(second.id)}
    shelf.undo(session, used.id, UndoingForm.read(form))
    session.flush()
    told = session.execute(select(Change.noun, Change.noun_id, Change.bowler_id).where(Change.why.contains("Anna")))
    owner_id = bench.get_drilling(session, 1).ball.bowler_id
    assert sorted(map(tuple, told)) == [("part", first.id, owner_id), ("part", second.id, owner_id)]
