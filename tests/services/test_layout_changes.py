"""A drilling gives up its layout, by dropping it or for one chosen since: before the first cut, and read back again."""

import pytest
from sqlalchemy.orm import Session

from app.errors import ConflictError, InvalidError
from app.models import Drilling, Layout
from app.schemas.layouts import LayoutDroppingForm, LayoutTakingForm
from app.services import layout_changes, layout_choices, layouts
from tests.conftest import not_none
from tests.services import test_axis_points
from tests.services.test_bench import confirmed, ticked
from tests.services.test_layout_choices import choose


def drop(session: Session, who: str, of: Layout, **typed: str) -> Layout:
    form = {"who": who, "version": str(of.version), "why": "pin under a hole"} | typed
    dropped = layout_changes.drop(session, of.id, LayoutDroppingForm.read(form))
    session.flush()
    return dropped


def take(session: Session, who: str, of: Drilling, since: Layout) -> Drilling:
    form = {"who": who, "version": str(of.version), "layout_id": str(since.id)}
    taken = layout_changes.take(session, of.id, LayoutTakingForm.read(form))
    session.flush()
    return taken


@pytest.fixture
def read_back(session: Session, plan: Drilling, who: str) -> tuple[Drilling, Layout]:
    """A drilling read back on a layout, nothing cut yet."""
    point = test_axis_points.add(session, who, plan.ball.bowler_id)
    first = choose(session, who, plan.ball_id, point.id)
    for position in (1, 2, 3):
        ticked(session, plan, who, position)
    confirmed(session, plan, who, "as the bowler asks")
    return plan, first


def since_of(session: Session, of: Drilling) -> Layout | None:
    return layout_choices.load(session, of.ball_id).since


def test_a_drilling_is_put_on_the_layout_chosen_since_and_is_read_back_again(
    session: Session, read_back: tuple[Drilling, Layout], who: str
) -> None:
    plan, first = read_back
    assert since_of(session, plan) is None
    newer = choose(session, who, plan.ball_id, first.axis_point_id, pin_axis="5")
    assert (layouts.find_of(session, plan), since_of(session, plan)) == (first, newer)
    take(session, who, plan, newer)
    assert layouts.find_of(session, plan) is newer
    assert since_of(session, plan) is None
    assert (plan.confirmed_at, plan.confirmed_reason, first.drilling_id) == (None, "", None)
    confirmed(session, plan, who, "as the bowler asks")
    assert newer.drilling_id == plan.id


def test_after_the_first_cut_a_newer_layout_is_only_told(
    session: Session, read_back: tuple[Drilling, Layout], who: str
) -> None:
    plan, first = read_back
    ticked(session, plan, who, 4)
    newer = choose(session, who, plan.ball_id, first.axis_point_id, pin_axis="5")
    assert since_of(session, plan) is newer
    with pytest.raises(ConflictError):
        take(session, who, plan, newer)
    with pytest.raises(ConflictError):
        drop(session, who, first, is_meant="true")
    assert layouts.find_of(session, plan) is first
    drop(session, who, newer)  # no drilling is on it
    assert since_of(session, plan) is None


def test_a_layout_chosen_after_a_plan_without_one_was_read_back_is_told_and_not_drilled(
    session: Session, plan: Drilling, who: str
) -> None:
    for position in (1, 2, 3):
        ticked(session, plan, who, position)
    confirmed(session, plan, who, "as the bowler asks")
    point = test_axis_points.add(session, who, plan.ball.bowler_id)
    newer = choose(session, who, plan.ball_id, point.id)
    assert (layouts.find_of(session, plan), since_of(session, plan)) == (None, newer)
    take(session, who, plan, newer)
    assert layouts.find_of(session, plan) is newer


def test_only_the_newest_of_the_drillings_hand_from_a_point_that_holds_is_taken(
    session: Session, read_back: tuple[Drilling, Layout], who: str
) -> None:
    plan, first = read_back
    second = choose(session, who, plan.ball_id, first.axis_point_id, pin_axis="5")
    left = test_axis_points.add(session, who, plan.ball.bowler_id, hand="left")
    third = choose(session, who, plan.ball_id, left.id)
    for asked in (second, third):
        with pytest.raises(ConflictError):
            take(session, who, plan, asked)
    assert plan.confirmed_at
    assert layouts.find_of(session, plan) is first


def test_dropping_the_layout_of_a_plan_asks_first_and_voids_what_was_read_back(
    session: Session, read_back: tuple[Drilling, Layout], who: str
) -> None:
    plan, first = read_back
    with pytest.raises(InvalidError) as refused:
        drop(session, who, first)
    assert list(refused.value.fields) == ["is_meant"]
    assert (plan.confirmed_at is None, first.dropped_at) == (False, None)
    drop(session, who, first, is_meant="true")
    assert plan.confirmed_at is None
    assert layouts.find_of(session, plan) is None
    with pytest.raises(ConflictError):
        drop(session, who, first, is_meant="true")


def test_a_layout_that_a_plan_would_take_up_is_asked_about_too(session: Session, plan: Drilling, who: str) -> None:
    point = test_axis_points.add(session, who, plan.ball.bowler_id)
    first = choose(session, who, plan.ball_id, point.id)
    second = choose(session, who, plan.ball_id, point.id, pin_axis="5")
    drop(session, who, first)  # the plan is on the second
    with pytest.raises(InvalidError):
        drop(session, who, second)
    drop(session, who, second, is_meant="true")
    kept = layouts.list_of_ball(session, plan.ball_id)
    assert [of.dropped_reason for of in kept] == ["pin under a hole", "pin under a hole"]
    assert not_none(kept[0].dropped_at)
