"""API tokens of programs."""

import secrets
from collections.abc import Sequence

from sqlalchemy import select
from sqlalchemy.orm import Session, joinedload

from app.errors import NotFoundError
from app.models import ApiToken, now
from app.schemas.identities import TokenForm
from app.services import changes, hashes


def make_token(session: Session, form: TokenForm, shop_id: int) -> tuple[ApiToken, str]:
    """Adds a token for one shop's programs; returns it with the only copy of its text."""
    text = f"span_{secrets.token_urlsafe(32)}"
    made = ApiToken(
        label=form.label,
        shop_id=shop_id,
        staff_id=form.who,
        scopes=sorted(set(form.scopes)),
        token_hash=hashes.digest(text),
    )
    changes.add_record(session, form.who, made, f"{made.label}: {', '.join(made.scopes)}")
    return made, text


def list_tokens(session: Session) -> Sequence[ApiToken]:
    query = select(ApiToken).where(ApiToken.ended_at.is_(None)).options(joinedload(ApiToken.staff))
    return session.scalars(query.order_by(ApiToken.id)).all()


def end_token(session: Session, token_id: int, who: int) -> None:
    ended = session.get(ApiToken, token_id)
    if ended is None or ended.ended_at:
        raise NotFoundError("There is no such token.")
    changes.revise(session, who, ended, {"ended_at": now()})


def find_token(session: Session, text: str) -> ApiToken | None:
    query = select(ApiToken).where(ApiToken.token_hash == hashes.digest(text), ApiToken.ended_at.is_(None))
    found = session.scalar(query.options(joinedload(ApiToken.staff)))
    return found if found and found.staff.is_active else None
