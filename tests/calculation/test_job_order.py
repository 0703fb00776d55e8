"""Orders of jobs against every order there is, tried in numpy, and against two rules of scheduling handbooks.

The rules: earliest due date first leaves the least greatest lateness (J. R. Jackson, 1955), and leaving out the longest
job whenever one would be late leaves the fewest late (J. M. Moore, 1968), both in M. L. Pinedo, "Scheduling", chapter
on one machine. Titles and years from memory; the values below are worked by brute force.
"""

import random
from collections.abc import Callable, Sequence
from dataclasses import replace
from itertools import permutations, product

import numpy as np
import pytest

from app.calculation.job_order import (
    MOST_EXACT,
    Cost,
    Job,
    Order,
    Press,
    _make_starts,
    evaluate,
    list_ends,
    order_jobs,
)

BOARDS = 500
JOBS = 8
SET_UP = 6
ORDERS = np.array(list(permutations(range(JOBS))))
Drawn = tuple[list[Job], Press]


def draw_board(rng: random.Random, count: int = JOBS) -> Drawn:
    """A board as on a busy day: promises that have passed, work without one or without a set-up, glue that cures."""
    set_ups = ["", "a", "b", "c", "d"][: rng.randint(3, 5)]
    jobs = [
        Job(
            key,
            rng.choice([5, 10, 15, 25, 45, 75]),
            None if rng.random() < 0.15 else rng.randint(-30, 360),
            rng.choice(set_ups),
            ready=rng.choice([0, 0, 0, 0, rng.randint(10, 180)]),
            weight=100 if rng.random() < 0.1 else 1,
        )
        for key in range(1, count + 1)
    ]
    return jobs, Press(rng.choice([0, rng.randint(0, 60)]), rng.choice(set_ups))


def try_all_orders(jobs: Sequence[Job], press: Press, set_up_minutes: int = SET_UP) -> Cost:
    """The least cost over all orders, each gone through job by job, by a program that shares nothing with the app's."""
    names = sorted({"", press.set_up, *(job.set_up for job in jobs)})
    nothing = names.index("")
    minutes, ready, weight, set_up = (
        np.array([value(job) for job in jobs])
        for value in (lambda j: j.minutes, lambda j: j.ready, lambda j: j.weight, lambda j: names.index(j.set_up))
    )
    due = np.array([10**6 if job.due is None else job.due for job in jobs])
    free, on_press = np.full(len(ORDERS), press.free_in), np.full(len(ORDERS), names.index(press.set_up))
    broken, lateness, changes = (np.zeros(len(ORDERS), int) for _ in range(3))
    for chosen in ORDERS.T:
        needs_none = set_up[chosen] == nothing
        is_change = ~needs_none & (set_up[chosen] != on_press)
        free = np.maximum(free + is_change * set_up_minutes, ready[chosen]) + minutes[chosen]
        late = np.maximum(0, free - due[chosen])
        broken += weight[chosen] * (late > 0)
        lateness += late
        changes += is_change
        on_press = np.where(needs_none, on_press, set_up[chosen])
    best = np.lexsort((changes, lateness, broken))[0]
    return Cost(int(broken[best]), int(lateness[best]), int(changes[best]))


@pytest.fixture(scope="module")
def boards() -> list[tuple[Drawn, Cost]]:
    rng = random.Random(20_261)
    drawn = [draw_board(rng) for _ in range(BOARDS)]
    return [(board, try_all_orders(*board)) for board in drawn]


def costs(order: Order, board: Drawn) -> Cost:
    """What an order really costs, by `evaluate`; every job is in it once."""
    by_key = {job.key: job for job in board[0]}
    assert sorted(order.keys) == sorted(by_key)
    return evaluate([by_key[key] for key in order.keys], [board[1]], SET_UP)


def test_the_order_is_the_best_of_all_on_every_board(boards: list[tuple[Drawn, Cost]]) -> None:
    for board, best in boards:
        found = order_jobs(board[0], [board[1]], SET_UP)
        assert found.is_exact
        assert found.cost == best == costs(found, board)


def test_the_good_order_is_the_best_on_nearly_every_board(
    boards: list[tuple[Drawn, Cost]], tell: Callable[[str], None]
) -> None:
    found = [(order_jobs(board[0], [board[1]], SET_UP, most_labels=0), board, best) for board, best in boards]
    assert not any(order.is_exact for order, _, _ in found)
    assert all(order.cost == costs(order, board) >= best for order, board, best in found)
    share = sum(order.cost == best for order, _, best in found) / BOARDS
    tell(f"good orders of {JOBS} jobs that were the best: {share:.1%} of {BOARDS}")
    assert share >= 0.95


def test_ten_jobs_are_ordered_exactly_and_eleven_as_well_as_goes() -> None:
    jobs, press = draw_board(random.Random(3), MOST_EXACT + 1)
    assert order_jobs(jobs[:MOST_EXACT], [press], SET_UP).is_exact
    assert not order_jobs(jobs, [press], SET_UP).is_exact
    assert not order_jobs(jobs[:3], [press, press], SET_UP).is_exact


def test_forty_jobs_cost_no_more_than_by_promise_or_by_set_up() -> None:
    jobs, press = draw_board(random.Random(5), 40)
    found = order_jobs(jobs, [press], SET_UP)
    by_promise = sorted(jobs, key=lambda job: 10**6 if job.due is None else job.due)
    by_set_up = sorted(by_promise, key=lambda job: job.set_up)
    assert sorted(found.keys) == [job.key for job in jobs]
    assert found.cost <= min(evaluate(order, [press], SET_UP) for order in (by_promise, by_set_up))


def test_earliest_due_date_first_leaves_the_least_greatest_lateness() -> None:
    """Where one job is late at best, the greatest lateness is what all the lateness is: Jackson's rule bounds it."""
    jobs = [Job(1, 30, 100, "a"), Job(2, 20, 60, "a"), Job(3, 40, 45, "a"), Job(4, 10, 115, "a")]
    press = Press(0, "a")

    def find_greatest(order: Sequence[Job]) -> int:
        ends = np.cumsum([job.minutes for job in order])
        return max(int(end) - (job.due or 0) for end, job in zip(ends, order, strict=True))

    in_order = sorted(jobs, key=lambda job: job.due or 0)
    assert find_greatest(in_order) == min(find_greatest(order) for order in permutations(jobs)) == 0
    assert order_jobs(jobs, [press], 0).cost == Cost(0, 0, 0) == evaluate(in_order, [press], 0)


def test_as_few_are_late_as_by_the_rule_that_leaves_out_the_longest() -> None:
    jobs = [Job(1, 4, 9, "a"), Job(2, 3, 11, "a"), Job(3, 7, 15, "a"), Job(4, 6, 16, "a"), Job(5, 5, 19, "a")]
    kept: list[int] = []
    for job in sorted(jobs, key=lambda job: job.due or 0):
        kept.append(job.minutes)
        if sum(kept) > (job.due or 0):
            kept.remove(max(kept))
    late = len(jobs) - len(kept)
    assert late == 1
    assert order_jobs(jobs, [Press(0, "a")], 0).cost.broken == late


def test_a_press_waits_for_glue_only_when_nothing_else_is_to_do() -> None:
    glued, other = Job(1, 10, 45, "a", ready=30), Job(2, 25, 200, "a")
    found = order_jobs([glued, other], [Press(0, "a")], SET_UP)
    assert (found.keys, found.cost) == ((2, 1), Cost(0, 0, 0))
    assert evaluate([glued], [Press(0, "b")], SET_UP) == Cost(0, 0, 1)  # it is set up while the glue cures
    assert evaluate([glued], [Press(36, "a")], SET_UP) == Cost(1, 1, 0)


def test_a_first_job_outweighs_others() -> None:
    first, usual = Job(1, 30, 30, "a", weight=100), [Job(key, 15, 15 * key, "a") for key in (2, 3)]
    assert order_jobs([*usual, first], [Press(0, "a")], 0).keys[0] == 1


def test_fewest_set_ups_among_orders_that_keep_all_promises() -> None:
    jobs = [Job(key, 10, 500, set_up) for key, set_up in enumerate("abab", 1)]
    found = order_jobs(jobs, [Press(0, "b")], SET_UP)
    assert found.cost == Cost(0, 0, 1)
    assert [jobs[key - 1].set_up for key in found.keys] == list("bbaa")


def test_work_without_a_set_up_leaves_the_press_as_it_is() -> None:
    jobs = [Job(1, 10, 30, "a"), Job(2, 5, 15, ""), Job(3, 10, 60, "a")]
    assert evaluate(jobs, [Press(0, "a")], SET_UP) == Cost(0, 0, 0)
    assert evaluate(jobs, [Press(0, "")], SET_UP) == Cost(1, 6, 1)
    assert list_ends(jobs, [Press(0, "")], SET_UP) == [(16, True), (21, False), (31, False)]


def test_the_same_jobs_in_any_order_are_ordered_the_same() -> None:
    jobs, press = draw_board(random.Random(8), 14)
    shuffled = random.Random(9).sample(jobs, len(jobs))
    assert order_jobs(jobs, [press], SET_UP) == order_jobs(shuffled, [press], SET_UP)
    assert order_jobs(jobs[:7], [press], SET_UP).keys == order_jobs(jobs[6::-1], [press], SET_UP).keys


def test_nothing_to_do_is_an_order_too() -> None:
    assert order_jobs([], [Press(0, "")], SET_UP) == Order((), Cost(0, 0, 0), True)


def test_two_presses_take_each_job_to_where_it_ends_first(tell: Callable[[str], None]) -> None:
    """Every order with every way to share it out bounds what two presses can do; how near the rule comes is told."""
    presses = [Press(0, "a"), Press(10, "b")]
    assert evaluate([Job(1, 20, 40, "b"), Job(2, 20, 20, "a")], presses, SET_UP) == Cost(
        1, 16, 2
    )  # each changes a set-up
    assert evaluate([Job(2, 20, 20, "a"), Job(1, 20, 40, "b")], presses, SET_UP) == Cost(0, 0, 0)
    rng, reached = random.Random(4), 0
    for _ in range(20):
        jobs, _ = draw_board(rng, 5)
        bound = min(
            share_out(order, shares, presses) for order in permutations(jobs) for shares in product((0, 1), repeat=5)
        )
        found = order_jobs(jobs, presses, SET_UP)
        assert found.cost >= bound
        reached += found.cost == bound
    tell(f"orders for two presses that were the best of all: {reached} of 20 boards of 5 jobs")


def share_out(order: Sequence[Job], shares: Sequence[int], presses: Sequence[Press]) -> Cost:
    """What it costs when each job goes to a press that is told."""
    apart = [[job for job, at in zip(order, shares, strict=True) if at == n] for n in range(len(presses))]
    told = [evaluate(own, [press], SET_UP) for own, press in zip(apart, presses, strict=True)]
    return Cost(*(sum(part) for part in zip(*told, strict=True)))


def test_a_good_order_is_looked_for_from_four_simple_ones() -> None:
    """By hand, 10 minutes a set-up: by promise C ends after 30, D after 45, and A after 70, 10 late and the longest."""
    a, b, c, d = Job(1, 25, 60, "x"), Job(2, 10, None, "y"), Job(3, 20, 50, "y"), Job(4, 5, 58, "x")
    by_promise, by_set_up, least_first, late_last = _make_starts([a, b, c, d], Press(0, "z"), 10)
    assert by_promise == [c, d, a, b]
    assert by_set_up == [c, b, d, a]  # C's set-up has the earliest promise
    assert least_first == [d, b, c, a]
    assert late_last == [c, d, b, a]
    heavy = replace(a, weight=25)  # a minute for its weight, C twenty
    assert _make_starts([heavy, b, c, d], Press(0, "z"), 10)[3] == [d, heavy, b, c]


def test_of_presses_on_which_a_job_ends_at_once_the_one_with_its_set_up_is_taken() -> None:
    # by hand: 6 minutes to change the first press, or 6 to wait for the second, and 10 of work
    presses = [Press(0, "a"), Press(6, "b")]
    assert evaluate([Job(1, 10, None, "b")], presses, SET_UP) == Cost(0, 0, 0)
    assert list_ends([Job(1, 10, None, "b")], presses, SET_UP) == [(16, False)]
