"""Work of the last three months that is over, so that the figures of quality count cases enough to be shown.

It is written many rows at a time. A ball drilled the same as an earlier one of its bowler is a copy of that drilling
with dates of its own; its ticket went the whole way, and waited for glue. Some came back.
"""

import random
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import NamedTuple

from sqlalchemy import ColumnElement, case, insert, literal, select
from sqlalchemy.orm import Session

from app.models import (
    Ball,
    Base,
    Bore,
    Bowler,
    Drilling,
    DrillingStep,
    Measurement,
    Ticket,
    TicketMove,
    TicketWait,
    now,
)
from seed_demo.bench_hands import COUNTER, DRILLER
from seed_demo.past import Past

WORKS, FIRST_DAYS_AGO, LAST_DAYS_AGO = 36, 89, 19
COLOURS = ("Blue", "Red", "Grey", "Amber", "Green", "Black", "White", "Violet")
OTHER_WORK = ("sand", "insert", "check", "thumb", "balance")
# of which pieces of work something was not fine: the reason and the words
NOT_FINE = {
    6: ("tight", "sticks when it is warm"),
    15: ("pitch", "turns out at the release"),
    24: ("lip", "an edge at the back"),
    31: ("tight", "swells at the third game"),
}
_ASKED_AFTER = timedelta(days=14)
_IN_THE_MORNING = (0.7, 0.99)
_STATES = ("taken in", "ready", "on the bench", "done", "handed over", "followed up")
_HALFWAY = 12  # the step at which the glue has cured


class Earlier(NamedTuple):
    """A closed drilling that is done again, with its ball and bowler."""

    drilling_id: int
    ball_id: int
    bore_id: int | None
    bowler_id: int
    name: str


@dataclass
class Work:
    """One ticket: what is stored of it, when it came into each state, and the times of its drilling if it has one."""

    like: Earlier
    moments: list[datetime]
    values: dict[str, object]
    drilled: dict[str, datetime] = field(default_factory=dict)

    @property
    def moves(self) -> list[tuple[str, datetime]]:
        """The states of its own: what a drilling knows is read from that."""
        own = zip(_STATES, self.moments, strict=False)
        return [(state, at) for state, at in own if not (self.drilled and state in ("on the bench", "done"))]


def write_down(session: Session, past: Past) -> None:
    """Adds the work, oldest first, with its lines of history; those done again come after all first ones."""
    chance, models = random.Random(41), _list_earlier(session)
    works = []
    for number in range(WORKS):
        past.go_to(
            FIRST_DAYS_AGO - number * (FIRST_DAYS_AGO - LAST_DAYS_AGO) // (WORKS - 1) + chance.uniform(*_IN_THE_MORNING)
        )
        works.append(_plan_work(chance, past.moment, models[number % len(models)], number))
        if works[-1].drilled:
            _drill(session, past, works[-1], f"{COLOURS[number % len(COLOURS)]} league ball", f"Q-{3100 + 17 * number}")
    ids = _store(session, past, works)
    again = [_plan_redo(chance, works[number], ids[number], NOT_FINE[number][0]) for number in NOT_FINE]
    _store(session, past, again)


def _list_earlier(session: Session) -> list[Earlier]:
    query = select(Drilling.id, Drilling.ball_id, Drilling.bore_id, Ball.bowler_id, Bowler.name)
    query = query.join(Ball, Ball.id == Drilling.ball_id).join(Bowler, Bowler.id == Ball.bowler_id)
    here = (Ball.retired_at.is_(None), Ball.removed_at.is_(None), Bowler.erased_at.is_(None))
    closed = query.where(Drilling.state == "closed", Drilling.closed_at.is_not(None), *here)
    return [Earlier(*row) for row in session.execute(closed.order_by(Drilling.id))]


def _pass_times(chance: random.Random, at: datetime, *spans: tuple[int, int]) -> list[datetime]:
    """A moment, and one after another some minutes later, from the least to the most of each span."""
    moments = [at]
    for span in spans:
        moments.append(moments[-1] + timedelta(minutes=chance.randint(*span)))
    return moments


def _plan_work(chance: random.Random, taken_in: datetime, like: Earlier, number: int) -> Work:
    """Two of seven are work without a drilling; all are asked after when two weeks have passed."""
    is_drilled = number % 7 not in (2, 5)
    at_work = (90, 210) if is_drilled else (8, 50)
    moments = _pass_times(chance, taken_in, (2, 15), (30, 200), at_work)
    moments.append(moments[-1] + timedelta(days=chance.randint(0, 2), minutes=chance.randint(20, 60)))
    moments.append(moments[-1] + _ASKED_AFTER)
    outcome, words = ("not fine", NOT_FINE[number][1]) if number in NOT_FINE else ("fine", "")
    values = _list_values(like, moments) | {"outcome": outcome, "outcome_words": words}
    values["what"] = "same" if is_drilled else chance.choice(OTHER_WORK)
    values["promised_at"] = moments[3] + timedelta(minutes=chance.randint(-20, 400))
    of = Work(like, moments, values)
    if is_drilled:
        planned = moments[1] + (moments[2] - moments[1]) / 2
        of.drilled = {"planned_at": planned, "begun": moments[2], "glued": moments[2] + timedelta(minutes=25)}
        of.drilled |= {"drilled_at": moments[3] - timedelta(minutes=5), "closed_at": moments[3]}
    return of


def _list_values(like: Earlier, moments: list[datetime]) -> dict[str, object]:
    heard = moments[4] + _ASKED_AFTER
    fixed = {"ball_id": like.ball_id, "state": "followed up", "handed_to": like.name, "checked_with": like.name}
    dated = {
        "created_at": moments[0],
        "taken_at": moments[2],
        "handed_over_at": moments[4],
        "follow_up_on": heard.date(),
    }
    empty = {"drilling_id": None, "redo_of_id": None, "redo_reason": "", "promised_at": None}
    return {
        **fixed,
        **dated,
        **empty,
        "holder_id": int(DRILLER),
        "staff_id": int(COUNTER),
        "version": 1,
        "made_by_shop_id": 1,
    }


def _plan_redo(chance: random.Random, of: Work, ticket_id: int, reason: str) -> Work:
    """The ticket that was opened when something was not fine; of the newest nobody has asked yet."""
    moments = _pass_times(chance, of.moments[-1], (2, 15), (20, 60), (10, 30), (20, 60))
    values = _list_values(of.like, moments) | {
        "ball_id": of.values["ball_id"],
        "what": "check",
        "redo_of_id": ticket_id,
    }
    values |= {"redo_reason": reason, "outcome": "fine", "outcome_words": ""}
    heard = moments[-1] + _ASKED_AFTER
    if heard < now():
        moments.append(heard)
    else:
        values |= {"state": "handed over", "outcome": ""}
    return Work(of.like, moments, values)


# Rows -----------------------------------------------------------------------------------------------------------------


def _copy(session: Session, model: type[Base], *own: ColumnElement[bool], **changed: object) -> int:
    """Copies rows in the database with some columns changed; returns the number of the last."""
    columns = [column for column in model.__table__.columns if column.name != "id"]
    chosen = [
        given if isinstance(given := changed.get(c.name, c), ColumnElement) else literal(given, c.type) for c in columns
    ]
    made = (
        insert(model)
        .from_select([c.name for c in columns], select(*chosen).where(*own))
        .returning(model.__table__.c.id)
    )
    return int(session.execute(made).scalars().all()[-1])


def _drill(session: Session, past: Past, of: Work, label: str, serial: str) -> None:
    """Another ball drilled the same, with its bore, its steps and its measures."""
    like, at = of.like, of.drilled
    ball_id = _copy(session, Ball, Ball.id == like.ball_id, label=label, serial=serial, colour="")
    bore_id = _copy(session, Bore, Bore.id == like.bore_id) if like.bore_id else None
    dates = {name: at[name] for name in ("planned_at", "drilled_at", "closed_at")} | {"confirmed_at": at["begun"]}
    made = dates | {"ball_id": ball_id, "bore_id": bore_id, "inner_id": None}
    drilling_id = _copy(session, Drilling, Drilling.id == like.drilling_id, **made)
    begun, drilled = (literal(at[name], DrillingStep.ticked_at.type) for name in ("begun", "drilled_at"))
    ticked = case((DrillingStep.position < _HALFWAY, begun), else_=drilled)
    steps = DrillingStep.drilling_id == like.drilling_id
    _copy(session, DrillingStep, steps, drilling_id=drilling_id, ticked_at=ticked)
    measured = Measurement.drilling_id == like.drilling_id
    _copy(session, Measurement, measured, drilling_id=drilling_id, taken_at=at["closed_at"])
    of.values |= {"ball_id": ball_id, "drilling_id": drilling_id}
    _tell(past, of, ("ball", ball_id), "made", "", label, of.moments[0])
    _tell(past, of, ("drilling", drilling_id), "made", "", f"{label}, same as last", at["planned_at"])
    _tell(past, of, ("drilling", drilling_id), "state", "planned", "drilled", at["drilled_at"])
    _tell(past, of, ("drilling", drilling_id), "state", "drilled", "closed", at["closed_at"])


def _store(session: Session, past: Past, works: list[Work]) -> list[int]:
    """Adds tickets with their moves and waits; returns their numbers."""
    made = insert(Ticket).returning(Ticket.id, sort_by_parameter_order=True)
    ids = list(session.scalars(made, [of.values for of in works]))
    moves: list[dict[str, object]] = []
    waits: list[dict[str, object]] = []
    for ticket_id, of in zip(ids, works, strict=True):
        own = {"ticket_id": ticket_id, "made_by_shop_id": 1}
        _tell(past, of, ("ticket", ticket_id), "made", "", str(of.values["what"]), of.moments[0])
        for place, (state, at) in enumerate(of.moves):
            who = int(DRILLER if state in ("on the bench", "done") else COUNTER)
            moves.append(own | {"state": state, "staff_id": who, "at": at})
            if place:
                _tell(past, of, ("ticket", ticket_id), "state", of.moves[place - 1][0], state, at)
        if of.drilled:
            cured = of.drilled["glued"] + timedelta(minutes=45)
            times = {"raised_at": of.drilled["glued"], "until": cured, "ended_at": cured + timedelta(minutes=5)}
            people = {"raised_by_id": int(DRILLER), "ended_by_id": int(DRILLER)}
            waits.append(own | times | people | {"kind": "glue", "why": "Slow resin, lot R-08"})
    session.execute(insert(TicketMove), moves)
    if waits:
        session.execute(insert(TicketWait), waits)
    return ids


def _tell(past: Past, of: Work, record: tuple[str, int], name: str, old: str, new: str, at: datetime) -> None:
    """Keeps a line of history to be written with the others."""
    who = int(DRILLER if record[0] == "drilling" else COUNTER)
    line = {"noun": record[0], "noun_id": record[1], "field": name, "old": old, "new": new, "at": at, "why": ""}
    past.lines.append(line | {"staff_id": who, "bowler_id": of.like.bowler_id, "made_by_shop_id": 1})
