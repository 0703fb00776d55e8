"""What a card brought is taken back whole; what somebody used since stays, and is named with why."""

from dataclasses import replace
from fractions import Fraction

import pytest
from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.access import DRILLER, Actor
from app.errors import ConflictError, NotAllowedError
from app.models import (
    Ball,
    Bowler,
    Fit,
    Inner,
    InsertSystem,
    Measurement,
    OwnerChange,
    ReadCard,
    Shop,
    StatedDepth,
    TrialFit,
    now,
)
from app.schemas.balls import RetirementForm
from app.schemas.cards import CardTakingBackForm
from app.schemas.taken_back import TakingBackForm
from app.services import bowlers, card_undoing, depths, inners, shops, systems
from app.services import taken_back as restoring
from tests.cards.made import INNER
from tests.conftest import not_none
from tests.services.cards import open_made, take


def undo(session: Session, who: str, taken: ReadCard) -> ReadCard:
    form = {"who": who, "version": taken.version, "why": "of somebody else"}
    card_undoing.take_back(session, taken.id, CardTakingBackForm.read(form))
    session.flush()
    return taken


def test_a_card_is_taken_back_whole_and_history_says_so(session: Session, who: str) -> None:
    taken = take(session, who, open_made())
    shop_id = not_none(session.scalar(select(StatedDepth.shop_id)))
    assert depths.load_shop_depths(session, [shop_id])
    undo(session, who, taken)
    assert depths.load_shop_depths(session, [shop_id]) == {}
    assert session.get_one(Fit, taken.made["fit"][0]).state == "discarded"
    assert all(session.get_one(Inner, i).retired_at for i in taken.made["inner"])
    assert (taken.outcome, taken.taken_back_reason) == ("taken back", "of somebody else")
    with pytest.raises(ConflictError):
        undo(session, who, taken)


def test_the_bowler_shop_and_hardware_that_nobody_used_go_with_it(session: Session, who: str) -> None:
    before = [shop.name for shop in shops.list_shops(session)], [s.label for s in systems.list_systems(session)]
    taken = undo(session, who, take(session, who, open_made()))
    assert taken.kept == []
    assert session.get_one(Bowler, taken.bowler_id).removed_at
    assert bowlers.search(session, "Ada Quillfeather") == []
    assert (
        [shop.name for shop in shops.list_shops(session)],
        [s.label for s in systems.list_systems(session)],
    ) == before


def test_the_same_card_may_come_again_and_be_taken_back_again(session: Session, who: str) -> None:
    for turn in range(3):
        taken = take(session, who, open_made())
        names = [shop.name for shop in shops.list_shops(session) if "Harbour Lane" in shop.name]
        labels = [system.label for system in systems.list_systems(session) if "Harbour" in system.label]
        assert (names, labels) == (["Harbour Lane"], ["Harbour Lane, hardware 1"]), turn
        assert undo(session, who, taken).kept == []
    assert session.scalars(select(Shop.removed_at).where(Shop.name == "Harbour Lane")).one()


def test_what_somebody_used_since_stays_and_says_why(session: Session, who: str) -> None:
    """A trial fit of one inner: it, its bowler, its shop and its hardware stay; the other inner goes."""
    taken = take(session, who, open_made())
    tried, other = (inners.get_inner(session, i) for i in taken.made["inner"])
    session.add(TrialFit(inner_id=tried.id, trial_depth_in=2, proud_in=0, staff_id=int(who)))
    session.flush()
    undo(session, who, taken)
    assert (tried.retired_at, other.retired_at is None) == (None, False)
    assert session.get_one(Bowler, taken.bowler_id).removed_at is None
    assert taken.kept == [
        "inner dry days: used by 1 trial fit",
        "the bowler: used by 1 inner",
        "Harbour Lane: used by 1 bowler, 1 bore",
        "Harbour Lane, hardware 1: used by 1 bore, 1 inner",
    ]
    assert session.get_one(InsertSystem, taken.made["insert_system"][0]).removed_at is None


def test_a_bowler_whose_record_somebody_changed_stays(session: Session, who: str) -> None:
    taken = take(session, who, open_made())
    session.get_one(Bowler, taken.bowler_id).league = "Monday trio"
    session.flush()
    assert undo(session, who, taken).kept == ["the bowler: changed since", "Harbour Lane: used by 1 bowler"]


def test_a_shop_and_hardware_that_were_here_before_stay(session: Session, who: str) -> None:
    first = take(session, who, open_made())
    second = take(session, who, open_made(revision=4), bowler_id=not_none(first.bowler_id), takes_fit="")
    assert {"bowler", "shop", "insert_system"} & set(second.made) == set()
    undo(session, who, second)
    assert session.get_one(Bowler, first.bowler_id).removed_at is None
    assert session.scalars(select(Shop.removed_at).where(Shop.name == "Harbour Lane")).one() is None


def test_what_is_brought_back_brings_its_shop_and_hardware(session: Session, who: str) -> None:
    taken = undo(session, who, take(session, who, open_made()))
    inner = inners.get_inner(session, taken.made["inner"][0])
    inners.retire(
        session, inner.id, RetirementForm.read({"who": who, "version": inner.version, "why": "ours after all"})
    )
    assert (inner.trimmed_in.shop.removed_at, inner.system.removed_at) == (None, None)
    fit = session.get_one(Fit, taken.made["fit"][0])
    restoring.restore_fit(session, fit.id, TakingBackForm.read({"who": who, "version": fit.version, "why": "as well"}))
    assert [hole.system.removed_at for hole in fit.holes if hole.system] == [None, None]


def test_heights_that_came_with_an_inner_are_no_use_of_it(session: Session, who: str) -> None:
    measured = replace(INNER, heights_in=(Fraction(1, 8),) * 4)
    taken = take(session, who, open_made(inners=(measured,)))
    (inner_id,) = taken.made["inner"]
    brought = select(func.count()).where(Measurement.inner_id == inner_id)
    assert session.scalar(brought) == 4
    undo(session, who, taken)
    assert (taken.kept, session.get_one(Inner, inner_id).retired_at is None) == ([], False)


def test_what_went_to_a_bowler_and_from_him_counts_alike(session: Session, who: str) -> None:
    taken = take(session, who, open_made(), takes_fit="", takes_inners="", takes_depths="true")
    own, other, ball = not_none(taken.bowler_id), session.get_one(Bowler, 1), session.get_one(Ball, 1)
    for from_id, to_id in ((other.id, own), (own, other.id), (other.id, own)):
        session.add(OwnerChange(ball_id=ball.id, from_id=from_id, to_id=to_id, why="sold", staff_id=int(who)))
    session.flush()
    assert "the bowler: used by 3 owner changes" in undo(session, who, taken).kept


def test_what_needs_no_change_at_another_shops_record_needs_no_leave(session: Session, who: str) -> None:
    """The hardware and the shop are another's, of our chain, and in use: only what is ours comes back."""
    taken = undo(session, who, take(session, who, open_made()))
    inner, fit = inners.get_inner(session, taken.made["inner"][0]), session.get_one(Fit, taken.made["fit"][0])
    for theirs in (inner.trimmed_in.shop, *session.scalars(select(InsertSystem))):
        theirs.made_by_shop_id, theirs.removed_at = 2, None
    session.flush()
    session.info["actor"] = Actor(int(who), 1, DRILLER, edits_own_shop_only=True)
    inners.retire(session, inner.id, RetirementForm.read({"who": who, "version": inner.version, "why": "ours"}))
    restoring.restore_fit(session, fit.id, TakingBackForm.read({"who": who, "version": fit.version, "why": "as well"}))
    assert (inner.retired_at, fit.state) == (None, "draft")
    inner.system.removed_at, inner.retired_at = now(), now()
    session.flush()
    with pytest.raises(NotAllowedError):
        inners.retire(session, inner.id, RetirementForm.read({"who": who, "version": inner.version, "why": "ours"}))
