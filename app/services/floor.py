"""How the shop runs its floor: minutes by kind of work, presses, follow-up, and its own words for bowlers."""

from dataclasses import dataclass

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.closed_sets import TICKET_KIND_WORDS, TicketKind
from app.models import Floor
from app.prepared import AnyRow, Prepared
from app.queries import constant
from app.schemas.floor import FloorForm
from app.services import changes

FLOOR_ID = 1
_STORED = ("minutes", "set_up_minutes", "presses", "follow_up_days", "usual_words", "care_words")

# ASSUMED: common practice, no source.
ASSUMED_MINUTES: dict[TicketKind, int] = {
    "new": 45,
    "same": 45,
    "redrill": 75,
    "thumb": 25,
    "insert": 15,
    "sand": 10,
    "check": 5,
    "layout": 10,
    "balance": 10,
}
ASSUMED_SET_UP_MINUTES = 6
ASSUMED_PRESSES = 1
ASSUMED_FOLLOW_UP_DAYS = 14
USUAL_WORDS = "Hello {name}, {ball} is ready. You can fetch it at {shop}."
CARE_WORDS = (
    "Do not force an inner that sticks: let it come to room temperature and bring it in. "
    "Solvents: fresh air, no flame, lids on, as their maker says. "
    "A thumb that tingles or goes numb: stop and have it looked at."
)


@dataclass(frozen=True)
class FloorNow:
    """What the floor counts with now; `is_assumed` until somebody has entered the shop's own."""

    minutes: dict[TicketKind, int]
    set_up_minutes: int
    presses: int
    follow_up_days: int
    usual_words: str
    care_words: str
    is_assumed: bool
    version: int = 0


_floor = Floor.__table__.c
_FLOOR: Prepared[AnyRow] = Prepared(
    select(*(_floor[name] for name in (*_STORED, "version"))).where(_floor.id == constant(FLOOR_ID))
)


def get_floor(session: Session) -> FloorNow:
    """Returns the shop's own numbers and words, what nobody entered as ASSUMED."""
    own = _FLOOR.fetch_one(session)
    if own is None:
        assumed = (ASSUMED_SET_UP_MINUTES, ASSUMED_PRESSES, ASSUMED_FOLLOW_UP_DAYS)
        return FloorNow(dict(ASSUMED_MINUTES), *assumed, USUAL_WORDS, CARE_WORDS, is_assumed=True)
    return FloorNow(
        minutes={kind: own.minutes.get(kind, minutes) for kind, minutes in ASSUMED_MINUTES.items()},
        set_up_minutes=own.set_up_minutes,
        presses=own.presses,
        follow_up_days=own.follow_up_days,
        usual_words=own.usual_words or USUAL_WORDS,
        care_words=own.care_words or CARE_WORDS,
        is_assumed=False,
        version=own.version,
    )


def save(session: Session, form: FloorForm) -> None:
    """Saves the shop's own numbers and words, with a line of history for each that differs from what counted before.

    Raises ConflictError for a form of an older version.
    """
    before = get_floor(session)
    after = FloorNow(
        minutes=dict(form.minutes),
        set_up_minutes=form.set_up_minutes,
        presses=form.presses,
        follow_up_days=form.follow_up_days,
        usual_words=form.usual_words or USUAL_WORDS,
        care_words=form.care_words or CARE_WORDS,
        is_assumed=False,
    )
    own = session.get(Floor, FLOOR_ID)
    if own is None:
        own = Floor(id=FLOOR_ID, **{name: getattr(after, name) for name in _STORED})
        changes.add_record(session, form.who, own, "the shop's own numbers and words")
    else:
        changes.require_version(session, own, form.version)
        for name in _STORED:
            if getattr(own, name) != getattr(after, name):
                setattr(own, name, getattr(after, name))
    for entry in _list_changed(before, after):
        changes.note(session, form.who, own, entry)


def list_lines(session: Session) -> changes.Lines:
    """Returns the history of these settings, newest first."""
    own = session.get(Floor, FLOOR_ID)
    return changes.list_record_lines(session, own) if own else []


def _list_changed(before: FloorNow, after: FloorNow) -> list[changes.Entry]:
    """A line of each value that differs; minutes one kind of work at a time."""
    lines = [
        changes.Entry(f"minutes of {words}", before.minutes[kind], after.minutes[kind])
        for kind, words in TICKET_KIND_WORDS.items()
    ]
    lines += [
        changes.Entry(name.replace("_", " "), getattr(before, name), getattr(after, name))
        for name in _STORED
        if name != "minutes"
    ]
    return [line for line in lines if line.old != line.new]
