"""Other shops' keys: the first is kept, another under the same name is not trusted until somebody compared it."""

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.cards.signing import public_key_of
from app.errors import ConflictError, NotFoundError
from app.models import Change, KnownKey, Shop
from app.schemas.cards import AcceptanceForm, CardTakingBackForm
from app.services import card_reading, card_undoing, known_keys
from tests.cards.made import PRIVATE_KEY
from tests.conftest import not_none
from tests.services.cards import OTHER_KEY, open_made, take

FIRST, SECOND, ELSEWHERE = b"\1" * 32, b"\2" * 32, b"\3" * 32


def accept(session: Session, who: str, key: KnownKey) -> KnownKey:
    typed = {"who": who, "version": key.version, "why": "read out by telephone"}
    accepted = known_keys.accept(session, key.id, AcceptanceForm.read(typed))
    session.flush()
    return accepted


@pytest.mark.both
def test_a_key_is_remembered_once_a_card_is_taken_in_and_not_when_it_is_read(session: Session, who: str) -> None:
    for _ in range(3):
        told = card_reading.tell(session, int(who), open_made())
        session.flush()
        assert (told.is_unknown, told.rivals) == (True, [])
    assert card_reading.look_again(session, open_made()).is_unknown
    taken = take(session, who, open_made())
    assert not card_reading.tell(session, int(who), open_made()).is_unknown
    card_undoing.take_back(
        session, taken.id, CardTakingBackForm.read({"who": who, "version": taken.version, "why": "no"})
    )
    session.flush()
    told = card_reading.tell(session, int(who), open_made())
    assert told.is_unknown
    accept(session, who, not_none(told.key))
    assert not card_reading.look_again(session, open_made()).is_unknown


@pytest.mark.parametrize("first", [PRIVATE_KEY, OTHER_KEY])
def test_of_two_keys_with_one_name_neither_counts_until_an_owner_accepts_one(
    session: Session, who: str, first: bytes
) -> None:
    """A forged card was read before the true one, or after it: both are told, and neither stands in the other's way."""
    second = OTHER_KEY if first == PRIVATE_KEY else PRIVATE_KEY
    for key in (first, second):
        card_reading.tell(session, int(who), open_made(key))
        session.flush()
    for key, other in ((first, second), (second, first)):
        told = card_reading.look_again(session, open_made(key))
        assert [(rival.public_key, known) for rival, known in told.rivals] == [(public_key_of(other), False)]
        with pytest.raises(ConflictError):
            known_keys.require_trusted(not_none(told.key))
    accept(session, who, not_none(known_keys.find_known(session, public_key_of(second))))
    take(session, who, open_made(second))
    told = card_reading.look_again(session, open_made(first))
    assert [(rival.public_key, known) for rival, known in told.rivals] == [(public_key_of(second), True)]
    with pytest.raises(ConflictError):
        take(session, who, open_made(first), **{"shop-0": "0"})


def test_another_key_under_the_same_name_is_not_trusted_until_it_is_accepted(session: Session, who: str) -> None:
    known_keys.see(session, int(who), FIRST, "Harbour Lane")
    new = known_keys.see(session, int(who), SECOND, "HARBOUR lane")
    session.flush()
    assert not known_keys.is_warned_of(known_keys.see(session, int(who), ELSEWHERE, "Quarry Lane"))
    with pytest.raises(ConflictError):
        known_keys.require_trusted(new)
    accept(session, who, new)
    known_keys.require_trusted(new)
    lines = session.scalars(select(Change).where(Change.noun == "known_key", Change.noun_id == new.id)).all()
    assert {line.why for line in lines} >= {"read out by telephone"}
    assert session.get_one(KnownKey, new.id).accepted_by_id == int(who)
    with pytest.raises(ConflictError):
        accept(session, who, new)
    with pytest.raises(NotFoundError):
        known_keys.accept(session, 999, AcceptanceForm.read({"who": who, "version": 1, "why": "?"}))


@pytest.mark.parametrize("name", ["Harbour Lane", "Quay Lane", "The one by the quay", "Qu\u0430y L\u0430ne"])
def test_a_shop_that_was_renamed_is_guarded_under_every_name_it_bore(session: Session, who: str, name: str) -> None:
    """Renamed on its own later cards, and here by us: another key under any of these names is warned of."""
    taken = take(session, who, open_made(), takes_fit="", takes_inners="")
    take(session, who, open_made(shops=("Quay Lane",), revision=4), takes_fit="", takes_inners="",
         bowler_id=not_none(taken.bowler_id))  # fmt: skip
    shop = not_none(session.scalar(select(Shop).where(Shop.name == "Harbour Lane")))
    shop.name = "The one by the quay"
    session.flush()
    assert not_none(known_keys.find_known(session, open_made().public_key)).shop_id == shop.id
    told = card_reading.tell(session, int(who), open_made(OTHER_KEY, shops=(name,)))
    assert not_none(told.key).is_changed
    with pytest.raises(ConflictError):
        take(session, who, open_made(OTHER_KEY, shops=(name,)), **{"shop-0": str(shop.id)})
