"""The checks of a plan against the holes that are in its ball already, by values."""

from dataclasses import replace
from datetime import date, timedelta

import pytest
from sqlalchemy.orm import Session

from app.calculation.holes import OldHole
from app.models import Drilling
from app.models.old_holes import PlannedOldHole
from app.models.plans import Plan
from app.services import checks, routes
from app.services.old_walls import list_plugs_cut
from app.services.work_outs import work_out
from tests.conftest import not_none

YESTERDAY = date.today() - timedelta(days=1)


def planned(shape: OldHole, is_filled: bool = True, drill_from: date | None = YESTERDAY) -> PlannedOldHole:
    return PlannedOldHole(7, f"{shape.digit} hole", shape, is_filled, "resin" if is_filled else "", drill_from, ())


def beside_ring(plan: Drilling, aside_in: float, is_filled: bool = True, day: date | None = YESTERDAY) -> Plan:
    """An old hole of the ring's own size, pitch and depth, so far to its right."""
    made = not_none(plan.plan)
    ring, (along, across) = made.grip.fingers["ring"], work_out(made).places["ring"]
    shape = OldHole(along, across + aside_in, ring.cut_in, ring.forward_in, ring.right_in, ring.depth_in, "finger")
    return replace(made, old_holes=(planned(shape, is_filled, day),))


def told(plan: Plan) -> list[tuple[str, bool | None]]:
    return [(check.what, check.holds) for check in checks.run_checks(plan, work_out(plan)) if " old " in check.what]


@pytest.mark.usefixtures("session")
@pytest.mark.parametrize(
    ("aside_in", "is_filled", "days", "expected"),
    [
        (1.5, False, None, [("Wall, ring to the open old finger hole", True)]),
        (1.5, True, None, [("Wall, ring to the plug of the old finger hole", True)]),
        (0.98, False, None, [("Wall, ring to the open old finger hole", False)]),
        (0.3, False, None, [("Wall, ring to the open old finger hole", False)]),
        # beside a plug counts as well, and a plug that nobody dated is asked about
        (0.98, True, None, [("Wall, ring to the plug of the old finger hole", False), ("Cure of the plug of the old finger hole", None)]),
        (0.3, True, -1, [("Wall, ring to the plug of the old finger hole", False), ("Cure of the plug of the old finger hole", True)]),
        (0.3, True, 1,
         [("Wall, ring to the plug of the old finger hole", False), ("Cure of the plug of the old finger hole", False)]),
    ],
)  # fmt: skip
def test_a_new_hole_keeps_its_wall_to_an_old_one(
    plan: Drilling, aside_in: float, is_filled: bool, days: int | None, expected: list[tuple[str, bool | None]]
) -> None:
    day = (
        None if days is None else date.today() + timedelta(days=days)
    )  # not when the module is read: midnight may pass
    assert told(beside_ring(plan, aside_in, is_filled, day)) == expected


def test_an_unknown_old_hole_is_never_green_but_a_failing_wall_fails(session: Session, plan: Drilling) -> None:
    for aside_in, holds in ((1.5, None), (0.3, False)):
        made = beside_ring(plan, aside_in, is_filled=False)
        unsure = replace(made, old_holes=(replace(made.old_holes[0], unknown=("its depth, counted as 1, ASSUMED",)),))
        assert [outcome for _, outcome in told(unsure)] == [holds]


def test_the_share_of_plug_and_the_steps_that_cut_it_are_told(session: Session, plan: Drilling) -> None:
    made = not_none(plan.plan)
    along, across = work_out(made).places["middle"]
    middle = made.grip.fingers["middle"]
    wide = OldHole(along, across, 1.25, middle.forward_in, middle.right_in, middle.depth_in / 2, "finger")
    over = replace(made, old_holes=(planned(wide),))
    worked = work_out(over)
    assert worked.old_walls[0].shares == {"middle": pytest.approx(0.5, abs=0.02)}  # as deep as half of its wall
    assert list_plugs_cut(worked.old_walls) == {"middle": [over.old_holes[0]]}
    steps = routes.freeze_steps(over, worked, routes.get_route(None))
    cut = [step.action for step in steps if any("plug" in caution for caution in step.cautions)]
    assert cut == ["middle_bore"]
