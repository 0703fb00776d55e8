"""In which order jobs go to the press: fewest broken promises, then least lateness, then fewest changes of set-up.

Whole minutes from now, so that two orders that are equally good compare equal. Up to ten jobs on one press are ordered
exactly, by going through the sets of jobs that may be done first. Of two ways to do the same set that leave the same
set-up on the press, one that is free no later and cost no more is as good for all that follows: a later start never
lowers a cost, set-ups do not depend on time, and costs compare in turn. Only ways that no other beats like that are
kept. More jobs, or two presses, start in four simple orders that small moves then improve: no promise of the best.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import NamedTuple

MOST_EXACT = 10  # jobs; two more take ten times as long
MOST_STEPS = 100_000  # jobs put on a press while moves are tried: bounds the time by a count that is the same each time


@dataclass(frozen=True)
class Job:
    """Minutes of work from when it is ready; `due` is None without a promise, and negative when that has passed.

    Work with the set-up "" needs none: it changes nothing on the press.
    """

    key: int
    minutes: int
    due: int | None
    set_up: str
    ready: int = 0
    weight: int = 1


@dataclass(frozen=True)
class Press:
    """When it is free, in minutes from now, and the set-up that is on it then."""

    free_in: int
    set_up: str


class Cost(NamedTuple):
    """Compared in turn: weights of broken promises, minutes of lateness, changes of set-up."""

    broken: int
    lateness: int
    set_ups: int


@dataclass(frozen=True)
class Order:
    """Keys in the order proposed; exact when no other order costs less."""

    keys: tuple[int, ...]
    cost: Cost
    is_exact: bool


class _Way(NamedTuple):
    """One way to do a set of jobs: when the press is free, what it cost, and the jobs' places in turn."""

    free_in: int
    cost: Cost
    done: tuple[int, ...]


def evaluate(jobs: Sequence[Job], presses: Sequence[Press], set_up_minutes: int) -> Cost:
    """What this order costs when each job in turn goes to the press on which it ends first.

    Of presses on which it ends at once, the one that has its set-up, then the first.
    """
    cost = Cost(0, 0, 0)
    left = list(presses)
    for job in jobs:
        at, end = _choose_press(job, left, set_up_minutes)
        cost = _add(cost, job, end, left[at].set_up)
        left[at] = Press(end, job.set_up or left[at].set_up)
    return cost


def list_ends(jobs: Sequence[Job], presses: Sequence[Press], set_up_minutes: int) -> list[tuple[int, bool]]:
    """In how many minutes each job of this order ends, by the same rule, and whether the press is changed for it."""
    ends: list[tuple[int, bool]] = []
    left = list(presses)
    for job in jobs:
        at, end = _choose_press(job, left, set_up_minutes)
        ends.append((end, _is_change(job, left[at].set_up)))
        left[at] = Press(end, job.set_up or left[at].set_up)
    return ends


def order_jobs(jobs: Sequence[Job], presses: Sequence[Press], set_up_minutes: int, most_labels: int = 25_000) -> Order:
    """The best order, or a good one where looking through all takes too long; the same for the same jobs."""
    if not jobs:
        return Order((), Cost(0, 0, 0), True)
    starts = _make_starts(sorted(jobs, key=lambda job: job.key), presses[0], set_up_minutes)
    if len(presses) == 1 and len(jobs) <= MOST_EXACT:
        by_promise = starts[0]
        bound = min(evaluate(start, presses, set_up_minutes) for start in starts)
        best = _order_exactly(by_promise, presses[0], set_up_minutes, bound, most_labels)
        if best:
            return Order(tuple(by_promise[place].key for place in best.done), best.cost, True)
    found = [_improve(start, presses, set_up_minutes, MOST_STEPS // len(starts)) for start in starts]
    cost, good = min(((evaluate(order, presses, set_up_minutes), order) for order in found), key=lambda one: one[0])
    return Order(tuple(job.key for job in good), cost, False)


def _choose_press(job: Job, presses: Sequence[Press], set_up_minutes: int) -> tuple[int, int]:
    """The press on which the job ends first, and when."""
    if len(presses) == 1:
        return 0, _end(job, presses[0].free_in, presses[0].set_up, set_up_minutes)
    ends = [_end(job, press.free_in, press.set_up, set_up_minutes) for press in presses]
    at = min(range(len(presses)), key=lambda n: (ends[n], _is_change(job, presses[n].set_up), n))
    return at, ends[at]


def _end(job: Job, free_in: int, set_up: str, set_up_minutes: int) -> int:
    """The press is set up while the job is not ready yet, and then waits for it."""
    return max(free_in + (set_up_minutes if _is_change(job, set_up) else 0), job.ready) + job.minutes


def _is_change(job: Job, set_up: str) -> bool:
    return job.set_up not in ("", set_up)


def _add(cost: Cost, job: Job, end: int, set_up: str) -> Cost:
    late = 0 if job.due is None else max(0, end - job.due)
    return Cost(
        cost.broken + (job.weight if late else 0),
        cost.lateness + late,
        cost.set_ups + _is_change(job, set_up),
    )


# Exact ----------------------------------------------------------------------------------------------------------------


def _order_exactly(
    jobs: Sequence[Job], press: Press, set_up_minutes: int, bound: Cost, most_labels: int
) -> _Way | None:
    """The best way through all jobs, of equals the one that ends first, then with the earlier promises first.

    None when more than `most_labels` ways would have to be kept.
    """
    stages: dict[int, dict[str, list[_Way]]] = {0: {press.set_up: [_Way(press.free_in, Cost(0, 0, 0), ())]}}
    kept = 0
    for _ in jobs:
        reached: dict[int, dict[str, list[_Way]]] = {}
        for done, by_set_up in stages.items():
            for set_up, ways in by_set_up.items():
                unbeaten = _drop_beaten(ways)
                kept += len(unbeaten)
                if kept > most_labels:
                    return None
                for place, job in enumerate(jobs):
                    if done >> place & 1:
                        continue
                    longer = reached.setdefault(done | 1 << place, {}).setdefault(job.set_up or set_up, [])
                    for way in unbeaten:
                        end = _end(job, way.free_in, set_up, set_up_minutes)
                        cost = _add(way.cost, job, end, set_up)
                        if cost <= bound:
                            longer.append(_Way(end, cost, (*way.done, place)))
        stages = reached
    ends = [way for by_set_up in stages.values() for ways in by_set_up.values() for way in ways]
    return min(ends, key=lambda way: (way.cost, way.free_in, way.done))


def _drop_beaten(ways: list[_Way]) -> list[_Way]:
    """Those that no other beats in both when the press is free and what it cost."""
    kept: list[_Way] = []
    for way in sorted(ways):
        if not kept or way.cost < kept[-1].cost:
            kept.append(way)
    return kept


# Good -----------------------------------------------------------------------------------------------------------------


def _make_starts(jobs: Sequence[Job], press: Press, set_up_minutes: int) -> list[list[Job]]:
    """By promise; by set-up in the order of its earliest promise; least minutes first; those that will be late last."""

    def due(job: Job) -> float:
        return math.inf if job.due is None else job.due

    earliest: dict[str, float] = {}
    for job in jobs:
        earliest[job.set_up] = min(earliest.get(job.set_up, math.inf), due(job))
    return [
        sorted(jobs, key=lambda job: (due(job), job.set_up)),
        sorted(jobs, key=lambda job: (job.set_up != press.set_up, earliest[job.set_up], job.set_up, due(job))),
        sorted(jobs, key=lambda job: (job.minutes, due(job))),
        _put_late_last(sorted(jobs, key=lambda job: (due(job), job.set_up)), press, set_up_minutes),
    ]


def _put_late_last(jobs: Sequence[Job], press: Press, set_up_minutes: int) -> list[Job]:
    """By promise; whenever one would be late, that of the most minutes for its weight is put off to the end."""
    kept: list[Job] = []
    put_off: list[Job] = []
    for job in jobs:
        kept.append(job)
        if job.due is not None and evaluate(kept, [press], set_up_minutes).broken:
            longest = max(kept, key=lambda one: (one.minutes / one.weight, one.key))
            kept.remove(longest)
            put_off.append(longest)
    return kept + sorted(put_off, key=lambda job: (job.minutes, job.key))


def _improve(start: list[Job], presses: Sequence[Press], set_up_minutes: int, steps: int) -> list[Job]:
    """Makes every move that helps, again and again until none does or the steps are used up."""
    order, cost = start, evaluate(start, presses, set_up_minutes)
    while True:
        for moved in _list_moves(order):
            steps -= len(order)
            if steps < 0:
                return order
            moved_cost = evaluate(moved, presses, set_up_minutes)
            if moved_cost < cost:
                order, cost = moved, moved_cost
                break
        else:
            return order


def _list_moves(order: list[Job]) -> Iterator[list[Job]]:
    """Every block of up to three jobs put elsewhere, and every two jobs exchanged."""
    n = len(order)
    for length in (1, 2, 3):
        for first in range(n - length + 1):
            block, rest = order[first : first + length], order[:first] + order[first + length :]
            for place in range(len(rest) + 1):
                if place != first:
                    yield [*rest[:place], *block, *rest[place:]]
    for one in range(n):
        for other in range(one + 2, n):
            swapped = order.copy()
            swapped[one], swapped[other] = swapped[other], swapped[one]
            yield swapped
