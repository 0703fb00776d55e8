"""Other shops' keys: the first is kept, another under the same name is not trusted until somebody compared it."""

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.errors import ConflictError, NotFoundError
from app.models import Change, KnownKey, Shop
from app.schemas.cards import AcceptanceForm
from app.services import card_reading, known_keys
from tests.conftest import not_none
from tests.services.cards import OTHER_KEY, open_made, take

FIRST, SECOND, ELSEWHERE = b"\1" * 32, b"\2" * 32, b"\3" * 32


def test_a_key_is_kept_on_first_sight_and_known_then(session: Session, who: str) -> None:
    key, is_new = known_keys.see(session, int(who), FIRST, "Harbour Lane")
    assert is_new
    again, is_new = known_keys.see(session, int(who), FIRST, "Harbour Lane")
    assert (again.id, is_new) == (key.id, False)
    known_keys.require_trusted(key)
    other, _ = known_keys.see(session, int(who), ELSEWHERE, "Quarry Lane")
    assert not known_keys.is_warned_of(other)


def test_another_key_under_the_same_name_is_not_trusted_until_it_is_accepted(session: Session, who: str) -> None:
    known_keys.see(session, int(who), FIRST, "Harbour Lane")
    new, is_new = known_keys.see(session, int(who), SECOND, "HARBOUR lane")
    session.flush()
    assert is_new
    with pytest.raises(ConflictError):
        known_keys.require_trusted(new)
    typed = {"who": who, "version": new.version, "why": "read out by telephone"}
    known_keys.accept(session, new.id, AcceptanceForm.read(typed))
    session.flush()
    known_keys.require_trusted(new)
    lines = session.scalars(select(Change).where(Change.noun == "known_key", Change.noun_id == new.id)).all()
    assert {line.why for line in lines} >= {"read out by telephone"}
    assert session.get_one(KnownKey, new.id).accepted_by_id == int(who)
    with pytest.raises(ConflictError):
        known_keys.accept(session, new.id, AcceptanceForm.read(typed | {"version": new.version}))
    with pytest.raises(NotFoundError):
        known_keys.accept(session, 999, AcceptanceForm.read(typed))


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
