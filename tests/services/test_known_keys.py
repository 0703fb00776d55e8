"""Other shops' keys: the first is kept, another under the same name is not trusted until somebody compared it."""

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.errors import ConflictError, NotFoundError
from app.models import Change, KnownKey
from app.schemas.cards import AcceptanceForm
from app.services import known_keys

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
