"""How the work comes out, without blame: shares and times of the last year, each with its n and an exact interval.

Nothing is told by person, and below `SHOWN_FROM` cases nothing but n: so few say more about luck than about work.
Which drillings count is told with each figure. Sums are made over every shop of the chain.
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from itertools import pairwise
from statistics import median

from sqlalchemy import ColumnElement, case, exists, func, literal, or_, select
from sqlalchemy.orm import Session, aliased

from app.calculation.exact_intervals import binomial_interval, median_ranks
from app.closed_sets import REDO_REASON_WORDS, WAIT_KIND_WORDS
from app.models import (
    BenchStop,
    Drilling,
    DrillingStep,
    InsertSystem,
    Ticket,
    TicketMove,
    TicketWait,
)
from app.services.ticket_stages import read_true_stages

Condition = ColumnElement[bool]
SHOWN_FROM = 20
YEAR = timedelta(days=365)
_BEFORE_DONE = ("taken in", "ready", "on the bench")
_STAGES = ("taken in", "ready", "planned", "on the bench", "done")  # of those that follow nothing is due any more


@dataclass(frozen=True)
class Share:
    """`successes` of `n` cases; nothing but n is told of too few."""

    words: str
    n: int
    successes: int

    @property
    def is_shown(self) -> bool:
        return self.n >= SHOWN_FROM

    @property
    def interval(self) -> tuple[float, float]:
        """The exact 95 % interval of the share, 0..1."""
        return binomial_interval(self.successes, self.n)


@dataclass(frozen=True)
class Times:
    """How long something took, minutes in order; the median with an exact interval."""

    words: str
    minutes: tuple[float, ...]

    @property
    def n(self) -> int:
        return len(self.minutes)

    @property
    def is_shown(self) -> bool:
        return self.n >= SHOWN_FROM

    @property
    def middle(self) -> float:
        return median(self.minutes)

    @property
    def interval(self) -> tuple[float, float]:
        """The exact 95 % interval of the median, between two of the times."""
        low, high = median_ranks(self.n) or (1, self.n)
        return self.minutes[low - 1], self.minutes[high - 1]


@dataclass(frozen=True)
class Group:
    """Figures of one question, and which cases they count."""

    title: str
    counts: str
    shares: Sequence[Share] = ()
    times: Sequence[Times] = ()


def list_groups(session: Session, at: datetime, today: date) -> list[Group]:
    """Returns every figure of the year before `at`."""
    since = at - YEAR
    return [
        Group(
            "Right first time",
            "Balls drilled on a ticket and handed over, once the day to ask about them has come: right if nobody said "
            "it was not fine and no ticket had to do it again.",
            [_count_right(session, since, today), _count_fine(session, since, today)],
        ),
        Group(
            "Promises",
            "Tickets promised for a time that is past, but those called off: kept if the work was done by then.",
            [_count_kept(session, since, at)],
        ),
        Group(
            "Why work was done again", "Tickets that do a work again, by the reason.", _count_reasons(session, since)
        ),
        Group(
            "Sleeve to cut, within the tolerance",
            "Closed drillings with a verdict on their finishing measures, by hardware, by the bit of the bore, and by "
            "quarter of a year.",
            _count_within(session, since),
        ),
        Group(
            "Stops at the bench",
            "Drilled balls: those at which the bench stopped, because something was met beyond a limit.",
            [_count_stops(session, since)],
        ),
        Group("Time in each stage", "Tickets, from the one stage to the next.", times=_list_times(session, since)),
        Group("Time waited", "Waits that are over, by what for.", times=_list_waits(session, since, at)),
    ]


def _count(session: Session, words: str, success: Condition, *cases: Condition) -> Share:
    """Counts the tickets that fulfil the conditions, and among them the successes."""
    query = select(func.count(Ticket.id), func.sum(case((success, 1), else_=0)))
    n, successes = session.execute(query.where(*cases)).one()
    return Share(words, n, int(successes or 0))


def _count_right(session: Session, since: datetime, today: date) -> Share:
    again = aliased(Ticket)
    redone = exists().where(again.redo_of_id == Ticket.id, again.state != "called off")
    closed = exists().where(Drilling.id == Ticket.drilling_id, Drilling.closed_at.is_not(None))
    asked = (Ticket.handed_over_at >= since, Ticket.follow_up_on <= today, closed)
    return _count(session, "right first time", (Ticket.outcome != "not fine") & ~redone, *asked)


def _count_fine(session: Session, since: datetime, today: date) -> Share:
    """Counts what was heard by the day on which it is asked after: before it only what is not fine is taken."""
    asked = (Ticket.handed_over_at >= since, Ticket.follow_up_on <= today, Ticket.outcome != "")
    return _count(session, "fine, of those we asked about", Ticket.outcome == "fine", *asked)


def _count_kept(session: Session, since: datetime, at: datetime) -> Share:
    closed = select(Drilling.closed_at).where(Drilling.id == Ticket.drilling_id).scalar_subquery()
    done = func.coalesce(closed, _find_done())
    due = (Ticket.promised_at >= since, Ticket.promised_at < at, Ticket.state != "called off")
    return _count(session, "done by the promised time", done <= Ticket.promised_at, *due)


def _find_done() -> ColumnElement[datetime]:
    """When work without a drilling was done for good: put back it is not; a hand-over taken back changes nothing."""
    own, before = aliased(TicketMove), aliased(TicketMove)
    open_again = select(func.max(before.id)).where(before.ticket_id == Ticket.id, before.state.in_(_BEFORE_DONE))
    is_since = own.id > func.coalesce(open_again.correlate(Ticket).scalar_subquery(), 0)
    return select(func.min(own.at)).where(own.ticket_id == Ticket.id, own.state == "done", is_since).scalar_subquery()


def _count_reasons(session: Session, since: datetime) -> list[Share]:
    redone = (Ticket.redo_of_id.is_not(None), Ticket.created_at >= since, Ticket.state != "called off")
    query = select(Ticket.redo_reason, func.count(Ticket.id)).where(*redone).group_by(Ticket.redo_reason)
    found = {reason: count for reason, count in session.execute(query)}
    n = sum(found.values())
    shares = [Share(words, n, found.get(reason, 0)) for reason, words in REDO_REASON_WORDS.items()]
    return sorted((of for of in shares if of.successes), key=lambda of: -of.successes) or [Share("any reason", 0, 0)]


def _count_within(session: Session, since: datetime) -> list[Share]:
    """Counts verdicts by hardware, bit and quarter, and of all of them."""
    good = func.sum(case((Drilling.verdict == "within", 1), else_=0))
    judged = (Drilling.closed_at >= since, Drilling.verdict != "")
    count = func.count(Drilling.id)
    by_system = select(InsertSystem.label, count, good).join(Drilling, Drilling.system_id == InsertSystem.id)
    bored = (DrillingStep.drilling_id == Drilling.id, DrillingStep.action == "bore", DrillingStep.met_bit != "")
    by_bit = select(DrillingStep.met_bit, count, good).join(Drilling, bored[0]).where(*bored)
    by_verdict = session.execute(
        select(Drilling.closed_at, Drilling.verdict).where(*judged).order_by(Drilling.closed_at)
    )
    systems = session.execute(by_system.where(*judged).group_by(InsertSystem.label).order_by(InsertSystem.label))
    bits = session.execute(by_bit.where(*judged).group_by(DrillingStep.met_bit).order_by(DrillingStep.met_bit))
    quarters: dict[str, tuple[int, int]] = {}
    for closed_at, verdict in by_verdict:
        assert closed_at is not None  # the query asks for it
        day = closed_at.astimezone()  # by the shop's clock
        words = f"{day.year}, quarter {(day.month + 2) // 3}"
        n, within = quarters.get(words, (0, 0))
        quarters[words] = (n + 1, within + (verdict == "within"))
    found = [Share(label, n, int(within)) for label, n, within in systems]
    found += [Share(f"bit {label}", n, int(within)) for label, n, within in bits]
    found += [Share(words, *counts) for words, counts in quarters.items()]
    every = [sum(of[place] for of in quarters.values()) for place in (0, 1)]
    return [Share("every closed drilling", every[0], every[1]), *found]


def _count_stops(session: Session, since: datetime) -> Share:
    stopped = exists().where(BenchStop.drilling_id == Drilling.id)
    query = select(func.count(Drilling.id), func.sum(case((stopped, 1), else_=0)))
    drilled = (Drilling.drilled_at >= since, exists().where(DrillingStep.drilling_id == Drilling.id))
    n, stops = session.execute(query.where(*drilled)).one()
    return Share("drilled with a stop at the bench", n, int(stops or 0))


def _list_times(session: Session, since: datetime) -> list[Times]:
    """Returns how long tickets were in each stage, from its moment to that of the next one."""
    drilled = Drilling.id == Ticket.drilling_id
    began = select(func.min(DrillingStep.ticked_at)).where(DrillingStep.drilling_id == Drilling.id).scalar_subquery()
    parts = [
        select(Ticket.id, TicketMove.state, TicketMove.at).join(TicketMove, TicketMove.ticket_id == Ticket.id),
        select(Ticket.id, literal("planned"), Drilling.planned_at).join(Drilling, drilled),
        select(Ticket.id, literal("on the bench"), began).join(Drilling, drilled),
        select(Ticket.id, literal("done"), Drilling.closed_at).join(Drilling, drilled),
    ]
    moments: list[tuple[int, str, datetime]] = []
    for part in parts:
        found = session.execute(part.where(Ticket.created_at >= since))
        moments += [(ticket_id, stage, at) for ticket_id, stage, at in found if at is not None]
    return _measure_stages(moments)


def _measure_stages(moments: Iterable[tuple[int, str, datetime]]) -> list[Times]:
    of_ticket: dict[int, list[tuple[datetime, str]]] = defaultdict(list)
    for ticket_id, stage, at in moments:
        of_ticket[ticket_id].append((at, stage))
    spent: dict[str, list[float]] = defaultdict(list)
    for own in of_ticket.values():
        own.sort(key=lambda moment: moment[0])
        stages = read_true_stages([stage for _, stage in own])
        for stage, ((at, _), (following, _)) in zip(stages, pairwise(own), strict=False):  # the last has no end
            spent[stage].append((following - at).total_seconds() / 60)
    return [Times(stage, tuple(sorted(spent[stage]))) for stage in _STAGES]


def _list_waits(session: Session, since: datetime, at: datetime) -> list[Times]:
    """Returns how long waits lasted: until somebody ended them, or until the glue was cured by itself."""
    query = select(TicketWait.kind, TicketWait.raised_at, TicketWait.ended_at, TicketWait.until)
    is_over = or_(TicketWait.ended_at <= at, TicketWait.until <= at)
    waited: dict[str, list[float]] = defaultdict(list)
    for kind, raised, *ends in session.execute(query.where(TicketWait.raised_at >= since, is_over)):
        waited[kind].append((min(filter(None, ends)) - raised).total_seconds() / 60)
    return [Times(words, tuple(sorted(waited[kind]))) for kind, words in WAIT_KIND_WORDS.items()]
