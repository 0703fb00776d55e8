"""No verdict rests on a depth that was never measured or on a height still to be set."""

from fractions import Fraction

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.models import DepthObservation, InsertSystem, ShopLimit
from app.services import depths, inners, target_depths, visitors
from app.services.inners_in_bores import InnerInBore
from app.services.unsettled import Unsettled
from tests.conftest import Client, not_none
from tests.services.conftest import Arrive

pytestmark = pytest.mark.once  # numbers, which no database changes


def test_our_collar_is_bored_to_with_the_doubt_of_the_next_ball(session: Session, lock: InsertSystem) -> None:
    # by scipy: two collars of 2.75 and 2.755 with the starting scatter; the shop's page shows 2.7263 to 2.7787
    target = not_none(target_depths.choose_target_depth(lock, depths.load_shop_depths(session, [1])[1, lock.id]))
    assert target.depth_in == pytest.approx(2.7525, abs=1e-4)
    assert target.half_width_in == pytest.approx((2.7787 - 2.7263) / 2, abs=1e-4)


@pytest.mark.parametrize(("height", "is_assumed"), [("bore_floor", True), ("by_hand", False), ("ball_surface", False)])
def test_only_a_collar_of_ours_that_nobody_measured_is_assumed(
    lock: InsertSystem, height: str, is_assumed: bool
) -> None:
    lock.height_set_by = height
    target = not_none(target_depths.choose_target_depth(lock, None))
    assert (target.depth_in, target.half_width_in) == (float(not_none(lock.sleeve_length_in)), 0.0)
    assert (target.is_assumed, target.unmeasured) == (is_assumed, target_depths.UNMEASURED[height])


@pytest.mark.parametrize("notch", ["", "unknown"])
@pytest.mark.parametrize("depth", ["2 3/4", "3"])
def test_no_verdict_rests_on_a_depth_of_ours_that_nobody_measured(
    session: Session, client: Client, arrives: Arrive, lock: InsertSystem, notch: str, depth: str
) -> None:
    for observation in session.scalars(select(DepthObservation).where(DepthObservation.shop_id == 1)):
        session.delete(observation)
    form = arrives(depth=depth, datum="collar", obtained="read_off_ball", ball_label="Green", notch=notch)
    inner = inners.get_inner(session, visitors.take_in(session, form).id)
    found = visitors.predict_in_our_bore(session, inner, None, None)
    assert not_none(found.ours).unmeasured
    how = found.in_bore or found.unsettled
    assert isinstance(how, InnerInBore | Unsettled)
    assert how.verdict == "measure"
    assert how.advice[0] == target_depths.UNMEASURED["bore_floor"]
    session.commit()
    page = client.get(f"/inners/{inner.id}").text
    assert "our collar has not been measured: <strong>ASSUMED" in " ".join(page.split())


@pytest.mark.parametrize("height", ["by_hand", "ball_surface"])
def test_no_verdict_rests_on_a_height_that_is_still_to_be_set(
    session: Session, arrives: Arrive, lock: InsertSystem, height: str
) -> None:
    lock.height_set_by = height  # it is the sleeve's length then, whatever our collar is
    session.add(ShopLimit(name="lip", value_in=Fraction(1, 8), typed="1/8", source="this test"))  # an easy verdict
    form = arrives(depth="2 3/4", datum="collar", obtained="read_off_ball", ball_label="Green")
    found = visitors.predict_in_our_bore(
        session, inners.get_inner(session, visitors.take_in(session, form).id), None, None
    )
    assert not_none(found.ours).shape.depth_in == float(not_none(lock.sleeve_length_in))
    assert not_none(found.in_bore).verdict == "measure"
    assert not_none(found.in_bore).advice[0] == target_depths.UNMEASURED[height]
