"""What shops say of themselves on cards counts once, whatever came in which order, and as knowledge of the mean."""

import itertools
import math
from dataclasses import replace
from datetime import date
from fractions import Fraction

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.calculation import shop_depths as calculated
from app.models import DepthObservation, Shop, StatedDepth
from app.models.balls import USUAL_CIRCUMFERENCE_IN
from app.services import depths, stated_depths
from app.services.known_depths import ShopDepth
from tests.cards.made import DEPTH
from tests.conftest import not_none
from tests.services.cards import OTHER_KEY, open_made, take

F = Fraction
GROWN = [
    replace(DEPTH, as_of=date(2026, 3, day), n=n, balls=n, mean_in=F(27_500 + n, 10_000))
    for day, n in ((1, 4), (9, 7), (9, 8))
]


def say(session: Session, who: str, *told: object) -> ShopDepth:
    """Takes in cards with these depths, one after another; returns what is then known of the shop."""
    for revision, depth in enumerate(told, 1):
        take(session, who, open_made(revision=revision, depths=(depth,)), takes_fit="", takes_inners="")
    shop_id = not_none(session.scalar(select(StatedDepth.shop_id)))
    return next(iter(depths.load_shop_depths(session, [shop_id]).values()))


@pytest.mark.parametrize("order", list(itertools.permutations(range(3))))
def test_the_same_evidence_counts_once_in_any_order(session: Session, who: str, order: tuple[int, ...]) -> None:
    found = say(session, who, *(GROWN[i] for i in order), *(GROWN[i] for i in order))
    assert [s.known.balls for s in found.stated] == [8]
    assert found.stated[0].known.depth_in == pytest.approx(2.7508)
    assert found.last_on == date(2026, 3, 9)


def test_a_statement_is_knowledge_of_the_mean_and_not_one_ball(session: Session, who: str) -> None:
    """geometry: a card's mean, its u, scatter and n enter as information on the mean; checked by the pure estimate."""
    found = say(session, who, DEPTH)
    said = calculated.StatedDepth(2.7506, 0.0053, 0.0081, 4)
    expected = calculated.shop_depth([], stated=[said])
    assert found.estimate.depth_in == pytest.approx(expected.estimate.depth_in)
    assert found.knowledge.next_ball_in == pytest.approx(expected.next_ball_in)
    assert found.estimate.standard_uncertainty_in == pytest.approx(0.0053, rel=0.01)
    assert found.doubts == ()


def test_own_observations_and_a_statement_are_weighed_together(session: Session, who: str) -> None:
    observed = session.scalars(select(DepthObservation).order_by(DepthObservation.id)).all()
    row = next(o for o in observed if not session.get_one(Shop, o.shop_id).is_ours)
    before = depths.load_shop_depths(session, [row.shop_id])[row.shop_id, row.system_id]
    chosen = {"shop-0": str(row.shop_id), "hardware-0": str(row.system_id), "takes_fit": "", "takes_inners": ""}
    take(session, who, open_made(), **chosen)
    after = depths.load_shop_depths(session, [row.shop_id])[row.shop_id, row.system_id]
    known = [o.known for o in before.observed]
    expected = calculated.shop_depth(known, stated=[calculated.StatedDepth(2.7506, 0.0053, 0.0081, 4)])
    assert after.estimate.depth_in == pytest.approx(expected.estimate.depth_in)
    assert after.estimate.standard_uncertainty_in < before.estimate.standard_uncertainty_in
    assert after.sources[-1] == "said on its card"
    assert set(depths.leave_each_out(after)) == {o.id for o in after.observed}


def test_a_datum_other_than_the_collar_is_converted_and_doubted(session: Session, who: str) -> None:
    """The crown of a straight bore of 1 1/2 in a ball 27 around stands R - sqrt(R² - r²) above the collar's seat."""
    found = say(session, who, replace(DEPTH, datum="crown"))
    radius = 27 / (2 * 3.141592653589793)
    assert found.stated[0].known.depth_in == pytest.approx(2.7506 - (radius - (radius**2 - 0.75**2) ** 0.5), abs=1e-6)
    assert found.doubts == ("the pitch of the bores",)


def test_another_shops_statement_of_the_same_evidence_replaces_nothing(session: Session, who: str) -> None:
    """A stranger's card repeats the evidence of Harbour Lane with a later day: each shop keeps what it said itself."""
    take(session, who, open_made(depths=(GROWN[0],)), takes_fit="", takes_inners="")
    later = replace(GROWN[1], mean_in=F(3))
    take(session, who, open_made(OTHER_KEY, shops=("Quarry Row",), depths=(later,)), takes_fit="", takes_inners="")
    known = {
        session.get_one(Shop, row.shop_id).name: stated_depths.load_stated(session, [row.shop_id])
        for row in session.scalars(select(StatedDepth))
    }
    means = {name: [s.known.depth_in for one in found.values() for s in one] for name, found in known.items()}
    assert means == {"Harbour Lane": [pytest.approx(2.7504)], "Quarry Row": [pytest.approx(3.0)]}


def test_all_that_a_shop_said_is_listed_with_its_cards(session: Session, who: str) -> None:
    say(session, who, *GROWN)
    shop_id = not_none(session.scalar(select(StatedDepth.shop_id)))
    assert [row.n for row in stated_depths.list_said(session, shop_id)] == [8, 7, 4]


def test_a_depth_of_unknown_datum_is_doubted_over_every_datum_it_may_have() -> None:
    """By hand: a crown depth is R − √(R² − b²) more than the collar's; JCGM 100:2008 4.3.7 gives a²/3 of half of it."""
    row = StatedDepth(
        id=1, mean_in=F(11, 4), u_in=F(5, 1000), scatter_in=F(8, 1000), n=5, balls=5, datum="unknown",
        as_of=date(2026, 3, 1), evidence=bytes(8),
    )  # fmt: skip
    radius, bore = float(USUAL_CIRCUMFERENCE_IN) / (2 * math.pi), 0.75
    apart = radius - math.sqrt(radius**2 - bore**2)
    found = stated_depths.read_stated(row, F(3, 2)).known
    assert found.depth_in == pytest.approx(2.75 - apart / 2, abs=1e-9)
    assert found.standard_uncertainty_in == pytest.approx(math.sqrt(0.005**2 + (apart / 2) ** 2 / 3), rel=1e-9)
    row.datum = "crown"
    assert stated_depths.read_stated(row, F(3, 2)).known.standard_uncertainty_in == pytest.approx(0.005)
