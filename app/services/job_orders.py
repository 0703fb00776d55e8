"""Proposes in which order the open work goes to the press; whoever drills may take another ticket first.

What is in hand is not ordered: it says when a press is free, and with which set-up. Work that waits for a part, the
bowler or an answer is left out; glue that cures is counted from when it is cured.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from functools import lru_cache

from app.calculation.job_order import Cost, Job, Order, Press, list_ends, order_jobs
from app.closed_sets import DRILLS
from app.services.floor import FloorNow
from app.services.set_ups import SetUp
from app.services.ticket_stages import ShownTicket

_AT_THE_PRESS = DRILLS | {"thumb"}
_TO_DO = ("ready", "planned", "on the bench")
_LEAST_MINUTES = 5  # of work that is begun: nothing is finished in no time
_FIRST_WEIGHT = 100  # a promise that goes before others outweighs that many
_order = lru_cache(maxsize=64)(order_jobs)  # many screens show the same board in the same minute


@dataclass(frozen=True)
class Work:
    """Every open ticket by promise, the versions of their drillings, since when those in hand are, and whom to ask."""

    tickets: list[ShownTicket] = field(default_factory=list)
    versions: dict[int, int] = field(default_factory=dict)
    taken_at: dict[int, datetime] = field(default_factory=dict)
    due: list[ShownTicket] = field(default_factory=list)  # handed over and to be asked after, the longest due first


@dataclass(frozen=True)
class Proposal:
    """Ids of tickets in the order proposed, what that order costs, and of each its set-up in words and when it ends."""

    ticket_ids: tuple[int, ...]
    cost: Cost
    is_exact: bool
    set_ups: dict[int, str]
    ends: dict[int, datetime]
    changed: frozenset[int] = frozenset()  # those for which a press is changed

    @property
    def broken(self) -> int:
        """How many promises this order breaks, each counted once."""
        return sum(divmod(self.cost.broken, _FIRST_WEIGHT))


def propose(work: Work, set_ups: Mapping[int, SetUp], floor: FloorNow, at: datetime) -> Proposal:
    """Returns the order with the fewest broken promises, then the least lateness, then the fewest set-ups."""
    at = at.replace(second=0, microsecond=0)
    cut = [of for of in work.tickets if of.drilling_id and not of.stage.is_to_measure]
    words = {of.id: found.words for of in cut if (found := set_ups.get(of.drilling_id or 0))}
    jobs = tuple(_make_job(of, floor, words, at) for of in work.tickets if _is_to_order(of))
    presses = _list_presses(work, floor, words, at)
    order: Order = _order(jobs, presses, floor.set_up_minutes)
    by_key = {job.key: job for job in jobs}
    told = list_ends([by_key[key] for key in order.keys], presses, floor.set_up_minutes)
    ends = {key: at + timedelta(minutes=end) for key, (end, _) in zip(order.keys, told, strict=True)}
    changed = frozenset(key for key, (_, is_change) in zip(order.keys, told, strict=True) if is_change)
    return Proposal(order.keys, order.cost, order.is_exact, words, ends, changed)


def _is_in_hand(of: ShownTicket) -> bool:
    return of.holder_id is not None and of.stage.name in _TO_DO


def _is_to_order(of: ShownTicket) -> bool:
    wait = of.stage.wait
    return (of.stage.name in _TO_DO and not of.holder_id) or (wait is not None and wait.kind == "glue")


def _make_job(of: ShownTicket, floor: FloorNow, words: Mapping[int, str], at: datetime) -> Job:
    until = of.stage.wait.until if of.stage.wait else None
    return Job(
        key=of.id,
        minutes=_count_minutes(of, floor),
        due=None if of.promised_at is None else int((of.promised_at - at).total_seconds() // 60),
        set_up=_name_set_up(of, words),
        ready=max(0, -int((at - until).total_seconds() // 60)) if until else 0,
        weight=_FIRST_WEIGHT if of.priority == "first" else 1,
    )


def _count_minutes(of: ShownTicket, floor: FloorNow) -> int:
    """The minutes of its kind of work, of a drilling that is begun those of the steps that are open."""
    minutes = floor.minutes[of.what]
    if of.stage.is_to_measure:
        return _LEAST_MINUTES
    if of.drilling is None or not of.drilling.steps_done:
        return max(minutes, 1)
    left = of.drilling.steps - of.drilling.steps_done
    return max(-(-minutes * left // of.drilling.steps), _LEAST_MINUTES)


def _name_set_up(of: ShownTicket, words: Mapping[int, str]) -> str:
    """What the press is set to: "" for work that needs none; what is not planned yet is like nothing else."""
    if of.id in words:
        return words[of.id]
    return f"ticket {of.id}" if of.what in _AT_THE_PRESS and not of.stage.is_to_measure else ""


def _list_presses(work: Work, floor: FloorNow, words: Mapping[int, str], at: datetime) -> tuple[Press, ...]:
    """When each press is free: what is in hand goes on, one after another where there are more of them than presses."""
    presses = [Press(0, "")] * floor.presses
    for of in sorted(filter(_is_in_hand, work.tickets), key=lambda of: of.id):
        minutes = _count_minutes(of, floor)
        if of.drilling is None and of.id in work.taken_at:
            minutes -= int((at - work.taken_at[of.id]).total_seconds() // 60)
        first = min(range(len(presses)), key=lambda n: presses[n].free_in)
        presses[first] = Press(presses[first].free_in + max(minutes, _LEAST_MINUTES), _name_set_up(of, words))
    return tuple(presses)
