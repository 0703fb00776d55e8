"""The shelf's counts are the sums of their movements, whatever happened to them; the stock of hardware follows."""

from collections.abc import Callable
from fractions import Fraction

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.errors import ConflictError, InvalidError, NotFoundError
from app.models import Change, InsertSystem, Part, PartMovement, now
from app.schemas.drillings import TickForm
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
        st.tuples(st.just("recount"), st.integers(0, 3), st.integers(0, 30)),
        st.tuples(st.sampled_from(("use", "use_lot")), st.integers(0, 1), st.just(0)),
        st.tuples(st.just("open_glue"), st.just(0), st.just(0)),
        st.tuples(st.just("plug"), st.integers(0, 4), st.just(0)),
        st.tuples(st.just("undo"), st.integers(0, 40), st.just(0)),
        st.tuples(st.just("instead"), st.integers(0, 40), st.integers(0, 3)),
    ),
    max_size=14,
)
# the first step that is not done, and how many parts are in the ball for good before it
PUT_IN_BEFORE = {"mark": 0, "glue": 0, "lock_in": 1, "drill_inner": 1, "measure": 2}


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
    shop = Tallied(session, who, put)
    for act, which, number in acts:
        getattr(shop, act)(which, number)
    return shop.tally


class Tallied:
    """A shelf with a plain number beside each part, changed as each act says; each act takes two numbers."""

    def __init__(self, session: Session, who: str, put: Shelve) -> None:
        self.session, self.who = session, who
        own = not_none(session.scalar(select(Part).where(Part.system_id == 1, Part.size_in == Fraction(5, 4))))
        self.kept = [own, put(lot="A7"), put(size="1 3/8", lot="B1"), put("sleeve", label="Sleeve", size="")]
        self.glue = put("glue", "", "Resin", "", lot="R1")
        self.tally = {part.id: shelf.count_part(session, part.id) for part in session.scalars(select(Part))}
        self.posted: dict[int, tuple[int, int]] = {}  # part and count of each movement that may still be undone
        self.drilling = bench.get_drilling(session, 1)
        self.steps = {step.action: step for step in self.drilling.steps}
        self.plan = drillings.get_plan(self.drilling)

    def count_in(self, part_id: int, number: int, movement_id: int | None = None) -> None:
        newest = movement_id or not_none(self.session.scalar(select(func.max(PartMovement.id))))
        self.posted[newest] = (part_id, number)
        self.tally[part_id] += number

    def deliver(self, which: int, number: int) -> None:
        deliver(self.session, self.who, self.kept[which], number)
        self.count_in(self.kept[which].id, number)

    def recount(self, which: int, number: int) -> None:
        part = self.kept[which]
        counted = recount(self.session, self.who, part, number)
        assert (counted is None) == (self.tally[part.id] == number)
        if counted:
            self.count_in(part.id, number - self.tally[part.id])

    def use(self, which: int, _: int) -> None:
        used = part_uses.use_for(self.session, int(self.who), self.drilling, self.plan, {"lock_in"} if which else ())
        assert len(used) == (1 if which else 2)  # sleeve and inner; nobody counts the finger inserts
        for movement in used:
            self.count_in(movement.part_id, -1, movement.id)

    def use_lot(self, which: int, _: int) -> None:
        """The lot chosen at the bench is the one that is counted."""
        self.steps["lock_in"].part_id = self.kept[which % 2].id
        self.session.flush()
        sleeve, inner = part_uses.use_for(self.session, int(self.who), self.drilling, self.plan, ())
        self.steps["lock_in"].part_id = None
        assert inner.part_id == self.kept[which % 2].id
        for movement in (sleeve, inner):
            self.count_in(movement.part_id, -1, movement.id)

    def open_glue(self, _: int, __: int) -> None:
        typed = TickForm.read({"who": self.who, "opened": str(self.glue.id)})
        assert part_uses.put_in(self.session, self.drilling, self.steps["glue"], typed) == "opened Resin, lot R1"
        self.count_in(self.glue.id, -1)

    def plug(self, which: int, _: int) -> None:
        """Half drilled, with every step before this one done."""
        until, parts_in = list(PUT_IN_BEFORE.items())[which % len(PUT_IN_BEFORE)]
        for step in self.drilling.steps:
            step.ticked_at = now() if step.position < self.steps[until].position else None
        self.session.flush()
        used = part_uses.use_until_plugged(self.session, int(self.who), self.drilling)
        assert len(used) == parts_in
        for movement in used:
            self.count_in(movement.part_id, -1, movement.id)

    def undo(self, which: int, _: int) -> None:
        self.take_back(which, None)

    def instead(self, which: int, number: int) -> None:
        self.take_back(which, self.kept[number])

    def take_back(self, which: int, other: Part | None) -> None:
        if not self.posted:
            return
        movement_id = sorted(self.posted)[which % len(self.posted)]
        part_id, count = self.posted[movement_id]
        movement = self.session.get_one(PartMovement, movement_id)
        others = shelf.list_others(self.session, shelf.get_part(self.session, part_id))
        if other and not (movement.cause == "use" and other in others):
            with pytest.raises(InvalidError):
                take_back(self.session, self.who, movement_id, other.id)
            return
        take_back(self.session, self.who, movement_id, other.id if other else None)
        del self.posted[movement_id]
        self.tally[part_id] -= count
        if other:
            self.count_in(other.id, count)
        with pytest.raises(ConflictError):
            take_back(self.session, self.who, movement_id)


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


@pytest.mark.parametrize(("alike", "needed", "short"), [(4, 1, 0), (1, 1, 0), (0, 1, 1), (-2, 3, 3), (2, 0, 0)])
def test_what_is_lacking_is_never_below_zero(alike: int, needed: int, short: int) -> None:
    """A shelf below zero lacks what is needed and no more: what was used already is not needed again."""
    assert shelf.Shelved(Part(), alike, alike, needed).short == short


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
