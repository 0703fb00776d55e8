from dataclasses import replace

import pytest
from sqlalchemy.orm import Session

from app.models import Drilling, Fit
from app.services import checks, drillings
from app.services.work_outs import work_out
from tests.conftest import not_none
from tests.services.conftest import Make


def found(of: Drilling) -> dict[str, checks.Check]:
    return {c.what: c for c in checks.run_checks(not_none(of.plan), work_out(not_none(of.plan)))}


def test_a_sound_plan_holds_every_check(make: Make) -> None:
    assert checks.pick_failing(list(found(make()).values())) == []


@pytest.mark.parametrize(
    ("what", "system", "plan", "fit", "change"),
    [
        ("Least wall of the inner", {"inner_ods": "1 1/4, 1 3/8"}, {"bore_runs": "straight", "inner": "1 1/4"}, {}, "run parallel|runs parallel"),
        ("Least wall of the inner", {}, {"inner": "1 1/4"}, {"thumb_hole": "1 1/16 + 1/8 @ 45 right"}, "1 3/8 inner"),
        ("Inner wider than the thumb hole", {"inner_ods": "1 1/4"}, {}, {"thumb_hole": "1 5/32 + 1/16 @ 45 right"}, "blank"),
        ("Drill clears the slug and spares the lock", {"inner_length": "2 1/4"}, {}, {}, "flat-bottomed"),
        ("Wall between the finger holes", {}, {}, {"middle_depth": "1 1/2", "ring_depth": "1 1/2"}, "less deep"),
        ("Bridge as cut", {}, {}, {"bridge": "1/8"}, "Widen"),
        ("Bore within the ball's safe depth", {"sleeve_length": "3 1/2"}, {}, {}, "Shorten"),
        ("In stock at this size", {"stock": "1 1/4: 0, 1 3/8: 2"}, {}, {}, "Order"),
        ("Surface left between sleeve and fingers", {}, {}, {"spans": "1 1/8 x 1 1/4"}, "narrower"),
    ],
)  # fmt: skip
def test_each_check_fails_with_its_number_limit_reason_and_change(
    make: Make, what: str, system: dict[str, str], plan: dict[str, str], fit: dict[str, str], change: str
) -> None:
    check = found(make(system=system, plan=plan, **fit))[what]
    assert check.holds is False
    assert check.reason
    assert any(word in check.change for word in change.split("|"))
    assert check.limit_words


def test_holes_that_break_into_each_other_are_told_with_their_depth(make: Make) -> None:
    of = make(middle_depth="1 1/2", ring_depth="1 1/2")
    check, wall = found(of)["Wall between the finger holes"], work_out(not_none(of.plan)).walls["middle_ring"]
    assert (check.value_in, wall.least_in) == (0, 0)
    assert 0.8 < not_none(wall.meets_from_in) < 1.5
    assert check.reason == f"they break into each other from {wall.meets_from_in:.2f} in down"


def test_the_window_closes_when_the_hole_is_tilted_in_a_straight_bore(make: Make) -> None:
    # 1/2 reverse in a straight bore: 6.7° of tilt, 0.055 in deeper on one side and shallower on the other
    tight = {"inner_length": "2 1/8", "lock_depth": "2 1/4"}
    like = found(make(system=tight, plan={"point": "180"}, thumb_pitch="1/2 reverse, 0"))
    straight = found(
        make(
            system=tight | {"label": "other"},
            plan={"point": "180", "bore_runs": "straight"},
            thumb_pitch="1/2 reverse, 0",
        )
    )
    name = "Drill clears the slug and spares the lock"
    assert like[name].value_in == pytest.approx(0.125)
    assert not_none(straight[name].value_in) < 0.02


def test_a_flat_bit_opens_the_window_that_a_point_closes(make: Make) -> None:
    of = make(system={"inner_length": "2 1/4"}, plan={"point": "180"})
    assert found(of)["Drill clears the slug and spares the lock"].holds


def test_an_unknown_lock_depth_is_unknown_and_not_a_pass(make: Make) -> None:
    assert found(make(system={"lock_depth": ""}))["Drill clears the slug and spares the lock"].holds is None


def test_no_stock_is_checked_where_none_is_kept(make: Make) -> None:
    assert "In stock at this size" not in found(make(system={"stock": ""}))


def test_old_plans_without_checks_still_work_out(session: Session) -> None:
    of = drillings.get_drilling(session, 1)
    old = replace(not_none(of.plan), limits=None, system=None)
    assert checks.run_checks(old, work_out(old)) == []
    assert session.get(Fit, of.fit_id)
