"""Finding a bowler by anything, and keeping the bowler's own particulars."""

import re
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import timedelta
from typing import Any

from rapidfuzz import fuzz
from sqlalchemy import BindParameter, Select, bindparam, exists, func, select
from sqlalchemy.orm import Session, joinedload

from app.errors import ConflictError, InvalidError, NotFoundError
from app.models import Ball, Bowler, Change, Drilling, Fit, Inner, Shop, now
from app.schemas.bowlers import BowlerForm
from app.services import changes, lookup


class LikelyDuplicateError(ConflictError):
    """The bowler being added looks like one we have; `rows` are the likenesses."""

    def __init__(self, rows: "list[Row]") -> None:
        super().__init__("Is this one of these? Open the record, or say that it is somebody else.")
        self.rows = rows


@dataclass
class Row:
    """What the counter shows of one bowler."""

    bowler: Bowler
    fits: list[Fit] = field(default_factory=list)
    balls: int = 0
    waiting: list[str] = field(default_factory=list)
    is_name_shared: bool = False
    found: lookup.Found | None = None

    @property
    def name_parts(self) -> list[tuple[str, bool]]:
        """The name in pieces, each with whether what was typed is found in it."""
        answers = self.found.words if self.found else {}
        parts: list[tuple[str, bool]] = []
        for piece in re.findall(r"[^\W_]+|[\W_]+", self.bowler.name):
            folded = "".join(lookup.folded_words(piece))
            typed = answers.get(folded)
            begun = len(typed) if typed and folded.startswith(typed) and len(folded) == len(piece) else len(piece)
            parts += [(piece[:begun], True), (piece[begun:], False)] if typed else [(piece, False)]
        return [part for part in parts if part[0]]


def find(session: Session, text: str, limit: int = 12) -> list[Row]:
    """Bowlers by anything on their record, spelled right or wrong; best first, with the reason."""
    found = {f.bowler_id: f for f in lookup.look_up(session, text, limit)}
    if not found:
        return []
    best = sorted(session.scalars(_BOWLERS, {"ids": list(found)}), key=lambda b: (found[b.id].distance, b.name, b.id))
    shown = rows(session, best)
    for row in shown:
        row.found = found[row.bowler.id]
    return shown


def is_clear(found: Sequence[Row]) -> bool:
    """Whether the first row is so clearly meant that Enter may open it."""
    if not found or found[0].is_name_shared:
        return False
    distances = [row.found.distance if row.found else 9.0 for row in found]
    return len(found) == 1 or distances[0] < 0.15 <= distances[1]


def _by_name(limit: int) -> Select[Bowler]:
    return select(Bowler).options(joinedload(Bowler.home_shop)).order_by(Bowler.name).limit(limit)


_IDS: BindParameter[Any] = bindparam("ids", expanding=True)
_BOWLERS = select(Bowler).options(joinedload(Bowler.home_shop)).where(Bowler.id.in_(_IDS), Bowler.erased_at.is_(None))
_BALLS = (
    select(Ball.bowler_id, func.count())
    .where(Ball.bowler_id.in_(_IDS), Ball.retired_at.is_(None))
    .group_by(Ball.bowler_id)
)
_FITS = select(Fit).where(Fit.bowler_id.in_(_IDS), Fit.state != "superseded").order_by(Fit.hand.desc(), Fit.revision)
_WAITING = (
    select(Ball.bowler_id, Ball.label, Drilling.state)
    .join(Drilling, Drilling.ball_id == Ball.id)
    .where(Ball.bowler_id.in_(_IDS), Drilling.state.in_(("planned", "drilled")))
    .order_by(Drilling.id)
)


def rows(session: Session, found: Sequence[Bowler]) -> list[Row]:
    """Counter rows of these bowlers, in three queries however many they are."""
    made = {b.id: Row(b) for b in found}
    if not made:
        return []
    ids = {"ids": list(made)}
    for bowler_id, count in session.execute(_BALLS, ids):
        made[bowler_id].balls = count
    for fit in session.scalars(_FITS, ids):
        if fit.state == "in force":
            made[fit.bowler_id].fits.append(fit)
        else:
            made[fit.bowler_id].waiting.append(f"fit {fit.letter} is a draft")
    for bowler_id, label, state in session.execute(_WAITING, ids):
        made[bowler_id].waiting.append(f"{label}: {'to drill' if state == 'planned' else 'to measure and close'}")
    same = defaultdict(list)
    for row in made.values():
        same[tuple(sorted(lookup.folded_words(row.bowler.name)))].append(row)
    for alike in same.values():
        for row in alike:
            row.is_name_shared = len(alike) > 1
    return list(made.values())


def at_the_counter(session: Session) -> tuple[list[Row], list[Row]]:
    """(waiting for a drilling to be finished, longest first; worked on in the last twelve hours, latest first)."""
    waiting, here = _waiting(session), _here_today(session)
    made = {row.bowler.id: row for row in rows(session, list(dict.fromkeys([*waiting, *here])))}
    return [made[b.id] for b in waiting], [made[b.id] for b in here]


def _here_today(session: Session) -> Sequence[Bowler]:
    latest = (
        select(Change.bowler_id, func.max(Change.id).label("latest"))
        .where(Change.at >= now() - timedelta(hours=12))
        .group_by(Change.bowler_id)
        .subquery()
    )
    query = select(Bowler).options(joinedload(Bowler.home_shop)).join(latest, latest.c.bowler_id == Bowler.id)
    return session.scalars(query.order_by(latest.c.latest.desc()).limit(10)).all()


def _waiting(session: Session) -> Sequence[Bowler]:
    ids = (
        select(Ball.bowler_id, func.min(Drilling.planned_at).label("since"))
        .join(Drilling, Drilling.ball_id == Ball.id)
        .where(Drilling.state.in_(("planned", "drilled")))
        .group_by(Ball.bowler_id)
        .subquery()
    )
    query = select(Bowler).options(joinedload(Bowler.home_shop)).join(ids, ids.c.bowler_id == Bowler.id)
    return session.scalars(query.order_by(ids.c.since).limit(20)).all()


_BOWLER = select(Bowler).options(joinedload(Bowler.home_shop)).where(Bowler.id == bindparam("bowler_id"))
_HOLDINGS = tuple(exists().where(kind.bowler_id == Bowler.id) for kind in (Fit, Ball, Inner))
_RECORD = _BOWLER.add_columns(*_HOLDINGS)


def bowler(session: Session, bowler_id: int) -> Bowler:
    found = session.scalar(_BOWLER, {"bowler_id": bowler_id}, execution_options={"populate_existing": True})
    if found is None:
        raise NotFoundError("There is no such bowler.")
    return found


def record(session: Session, bowler_id: int) -> tuple[Bowler, bool, bool, bool]:
    """(bowler, whether there are fits, balls, inners): a page need not ask for what is not there."""
    found = session.execute(_RECORD, {"bowler_id": bowler_id}).one_or_none()
    if found is None:
        raise NotFoundError("There is no such bowler.")
    bowler, has_fits, has_balls, has_inners = found
    return bowler, has_fits, has_balls, has_inners


def register(session: Session, form: BowlerForm) -> Bowler:
    """Adds a bowler, unless one we have is likely the same person and nobody has said otherwise."""
    if not form.is_somebody_else:
        alike = _alike(session, form)
        if alike:
            raise LikelyDuplicateError(rows(session, alike))
    _require_shop(session, form)
    added = Bowler(**_particulars(form), **_identity(form))
    changes.made(session, form.who, added, f"{added.name}, {added.hand} hand")
    session.flush()
    lookup.index(session, added)
    return added


def edit(session: Session, bowler_id: int, form: BowlerForm) -> Bowler:
    edited = bowler(session, bowler_id)
    changes.require_version(session, edited, form.version)
    _require_shop(session, form)
    if edited.erased_at:
        raise ConflictError("This bowler has been erased.")
    values = _particulars(form)
    identity = _identity(form)
    changes.revise(session, form.who, edited, values | {"name": identity["name"], "phone": identity["phone"]})
    edited.phone_digits, edited.phone_last4 = identity["phone_digits"], identity["phone_last4"]
    session.flush()
    lookup.index(session, edited)
    return edited


def _particulars(form: BowlerForm) -> dict[str, Any]:
    names = ("hand", "home_shop_id", "league", "notes", "is_minor", "guardian", "consent")
    return {name: getattr(form, name) for name in names}


def _require_shop(session: Session, form: BowlerForm) -> None:
    if form.home_shop_id and session.get(Shop, form.home_shop_id) is None:
        raise InvalidError.at("home_shop_id", "That shop is not known. Choose one, or leave it open.")


def _identity(form: BowlerForm) -> dict[str, str]:
    digits = re.sub(r"\D", "", form.phone)
    return {"name": form.name, "phone": form.phone, "phone_digits": digits, "phone_last4": digits[-4:]}


def _alike(session: Session, form: BowlerForm) -> list[Bowler]:
    """Bowlers with the same phone number, or with nearly the same name."""
    words = lookup.folded_words(form.name)
    found = lookup.look_up(session, form.name, 50) if words else []
    query = select(Bowler).options(joinedload(Bowler.home_shop)).where(Bowler.id.in_([f.bowler_id for f in found]))
    own = " ".join(sorted(words))
    names = session.scalars(query.where(Bowler.erased_at.is_(None))).all() if found else []
    alike = [b for b in names if fuzz.ratio(own, " ".join(sorted(lookup.folded_words(b.name)))) >= 85]
    digits = re.sub(r"\D", "", form.phone)
    if digits:
        same = Bowler.phone_digits.endswith(digits[-7:]) if len(digits) >= 7 else Bowler.phone_digits == digits
        known = {b.id for b in alike}
        alike += [b for b in session.scalars(_by_name(10).where(same)) if b.id not in known]
    return alike
