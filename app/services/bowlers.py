"""Finding a bowler by anything, and keeping the bowler's own particulars."""

import re
import unicodedata
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import timedelta
from typing import Any

from rapidfuzz import fuzz, process
from rapidfuzz.distance import OSA
from sqlalchemy import Select, func, select
from sqlalchemy.orm import Session, joinedload

from app.db import one
from app.errors import ConflictError, InvalidError, NotFoundError
from app.models import Ball, Bowler, BowlerWord, Change, Drilling, Fit, Shop, now
from app.schemas.bowlers import BowlerForm
from app.services import changes

FEW = 5  # below this many exact or prefix matches, spelling mistakes are forgiven too
_LETTERS = str.maketrans({"ø": "o", "æ": "ae", "œ": "oe", "ß": "ss", "ł": "l", "đ": "d", "ð": "d", "þ": "th"})


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


def folded_words(name: str) -> list[str]:
    """Lower-case words without accents: what names are found by."""
    plain = unicodedata.normalize("NFKD", name.casefold().translate(_LETTERS))
    return re.findall(r"[a-z0-9]+", "".join(c for c in plain if not unicodedata.combining(c)))


def find(session: Session, text: str, limit: int = 12) -> list[Row]:
    """Bowlers by letters of any name, by the end of a phone number, or by a name spelled wrong; best first."""
    digits = re.sub(r"\D", "", text)
    words = folded_words(re.sub(r"\d", " ", text))[:4]
    if len(digits) >= 3 and not words:
        ends = Bowler.phone_last4 == digits if len(digits) == 4 else Bowler.phone_digits.endswith(digits)
        return rows(session, session.scalars(_shown(limit).where(ends)).all())
    if not words:
        return []
    found = list(session.scalars(_with_words(limit, [[w] for w in words], is_prefix=True)))
    if len(found) < FEW:
        known = {b.id for b in found}
        near = _near_words(session, words)
        if all(near):
            alike = session.scalars(_with_words(200, near, is_prefix=False))
            found += [b for b in alike if b.id not in known]
    found.sort(key=lambda b: _distance(words, b.name))
    return rows(session, found[:limit])


def _shown(limit: int) -> Select[Bowler]:
    return select(Bowler).options(joinedload(Bowler.home_shop)).order_by(Bowler.name).limit(limit)


def _with_words(limit: int, alternatives: list[list[str]], is_prefix: bool) -> Select[Bowler]:
    """Bowlers whose name has, for each typed word, one of its alternatives."""
    query = _shown(limit)
    for words in alternatives:
        match = BowlerWord.word.startswith(words[0]) if is_prefix else BowlerWord.word.in_(words)
        query = query.where(Bowler.id.in_(select(BowlerWord.bowler_id).where(match)))
    return query


def _near_words(session: Session, words: list[str]) -> list[list[str]]:
    """For each typed word the known words within one slip of it (two when it is longer than four letters)."""
    vocabulary = session.scalars(select(BowlerWord.word).distinct()).all()
    near = []
    for word in words:
        slips = 1 if len(word) <= 4 else 2
        whole = process.extract(word, vocabulary, scorer=OSA.distance, score_cutoff=slips, limit=60)
        starts = [v[: len(word)] for v in vocabulary]
        begun = process.extract(word, starts, scorer=OSA.distance, score_cutoff=1, limit=60)
        near.append(list(dict.fromkeys([v for v, _, _ in whole] + [vocabulary[i] for _, _, i in begun])))
    return near


def _distance(words: list[str], name: str) -> tuple[float, str]:
    """How badly a name answers the typed words: 0 when every word begins one of its own."""
    own = folded_words(name)
    total = 0.0
    for word in words:
        total += min(
            (0.0 if o == word else 0.1 if o.startswith(word) else 1.0 + OSA.distance(word, o) for o in own), default=9.0
        )
    return total, name


def is_clear(found: Sequence[Row], text: str) -> bool:
    """Whether the first row is so clearly meant that Enter may open it."""
    if not found or found[0].is_name_shared:
        return False
    if len(found) == 1:
        return True
    words = folded_words(text)
    return bool(words) and _distance(words, found[0].bowler.name)[0] < 0.15 <= _distance(words, found[1].bowler.name)[0]


def rows(session: Session, found: Sequence[Bowler]) -> list[Row]:
    """Counter rows of these bowlers, in three queries however many they are."""
    made = {b.id: Row(b) for b in found}
    if not made:
        return []
    balls = select(Ball.bowler_id, func.count()).where(Ball.bowler_id.in_(made), Ball.retired_at.is_(None))
    for bowler_id, count in session.execute(balls.group_by(Ball.bowler_id)):
        made[bowler_id].balls = count
    for fit in session.scalars(
        select(Fit).where(Fit.bowler_id.in_(made), Fit.state != "superseded").order_by(Fit.hand.desc(), Fit.revision)
    ):
        if fit.state == "in force":
            made[fit.bowler_id].fits.append(fit)
        else:
            made[fit.bowler_id].waiting.append(f"fit {fit.letter} is a draft")
    for bowler_id, label, state in session.execute(
        select(Ball.bowler_id, Ball.label, Drilling.state)
        .join(Drilling, Drilling.ball_id == Ball.id)
        .where(Ball.bowler_id.in_(made), Drilling.state.in_(("planned", "drilled")))
        .order_by(Drilling.id)
    ):
        made[bowler_id].waiting.append(f"{label}: {'to drill' if state == 'planned' else 'to measure and close'}")
    same = defaultdict(list)
    for row in made.values():
        same[tuple(sorted(folded_words(row.bowler.name)))].append(row)
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


def bowler(session: Session, bowler_id: int) -> Bowler:
    found = one(session, Bowler, bowler_id, joinedload(Bowler.home_shop))
    if found is None:
        raise NotFoundError("There is no such bowler.")
    return found


def register(session: Session, form: BowlerForm) -> Bowler:
    """Adds a bowler, unless one we have is likely the same person and nobody has said otherwise."""
    if not form.is_somebody_else:
        alike = _alike(session, form)
        if alike:
            raise LikelyDuplicateError(rows(session, alike))
    _require_shop(session, form)
    added = Bowler(**_particulars(form), **_identity(form))
    changes.made(session, form.who, added, f"{added.name}, {added.hand} hand")
    _index(session, added)
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
    _index(session, edited)
    return edited


def _particulars(form: BowlerForm) -> dict[str, Any]:
    names = ("hand", "home_shop_id", "notes", "is_minor", "guardian", "consent")
    return {name: getattr(form, name) for name in names}


def _require_shop(session: Session, form: BowlerForm) -> None:
    if form.home_shop_id and session.get(Shop, form.home_shop_id) is None:
        raise InvalidError.at("home_shop_id", "That shop is not known. Choose one, or leave it open.")


def _identity(form: BowlerForm) -> dict[str, str]:
    digits = re.sub(r"\D", "", form.phone)
    return {"name": form.name, "phone": form.phone, "phone_digits": digits, "phone_last4": digits[-4:]}


def _index(session: Session, indexed: Bowler) -> None:
    for old in session.scalars(select(BowlerWord).where(BowlerWord.bowler_id == indexed.id)):
        session.delete(old)
    session.add_all(BowlerWord(bowler_id=indexed.id, word=w) for w in dict.fromkeys(folded_words(indexed.name)))


def _alike(session: Session, form: BowlerForm) -> list[Bowler]:
    """Bowlers with the same phone number, or with nearly the same name."""
    words = folded_words(form.name)
    near = _near_words(session, words) if words else []
    names = session.scalars(_with_words(50, near, is_prefix=False)).all() if near and all(near) else []
    own = " ".join(sorted(words))
    alike = [b for b in names if fuzz.ratio(own, " ".join(sorted(folded_words(b.name)))) >= 85]
    digits = re.sub(r"\D", "", form.phone)
    if digits:
        same = Bowler.phone_digits.endswith(digits[-7:]) if len(digits) >= 7 else Bowler.phone_digits == digits
        known = {b.id for b in alike}
        alike += [b for b in session.scalars(_shown(10).where(same)) if b.id not in known]
    return alike
