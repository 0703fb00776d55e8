"""A bore that went on as it had come out tells nothing of what a shop's collar does."""

from fractions import Fraction

import pytest
from sqlalchemy import delete, select
from sqlalchemy.orm import Session

from app.models import BenchStop, DepthObservation, Drilling, DrillingStep, InsertSystem, now
from app.schemas.inners import TrialDepthForm, TrialFitForm
from app.services import apart_depths, depths, inners, shops, trial_fits
from tests.conftest import Client, not_none
from tests.services.test_depths import seen


@pytest.mark.parametrize("how", ["shimmed", "carried_on", "taken_back"])
def test_a_seat_on_a_shim_or_a_bore_carried_on_tells_nothing_of_the_next_ball(
    session: Session, client: Client, who: str, lock: InsertSystem, how: str
) -> None:
    """What three balls at 2.75 say of our collar is the same with a fourth that was bored 1/8 wrong and went on so."""
    inner = inners.get_inner(session, 1)
    bore, shop = inner.trimmed_in, shops.require_our_shop(session)
    session.execute(delete(DepthObservation).where(DepthObservation.shop_id == shop.id))
    seen(session, who, shop, lock, "2.75", "2.748", "2.752")
    before = depths.load_shop_depths(session, [shop.id])[shop.id, lock.id].knowledge
    drilling = not_none(session.scalar(select(Drilling).where(Drilling.bore_id == bore.id)))
    step = DrillingStep(
        drilling_id=drilling.id, position=90, action="bore", hole="thumb", words="Bore", is_cut=True,
        numbers=(), reads=["depth"], ticked_at=now(), staff_id=1,
    )  # fmt: skip
    stop = BenchStop(drilling_id=drilling.id, position=90, lines=[], raised_by_id=1, decision=how)
    session.add_all([step, stop])
    bore.shim_in = Fraction(1, 16) if how == "shimmed" else None
    bore.depth_in = None
    form = {"who": who, "trial_depth": "2 7/8", "proud": "flush"}
    trial_fits.add_trial_fit(session, inner.id, TrialFitForm.read(form))
    session.flush()
    saved = trial_fits.save_trial_depth(session, inner.id, TrialDepthForm.read({"who": who}))
    session.flush()
    known = depths.load_shop_depths(session, [shop.id])[shop.id, lock.id]
    assert (known.knowledge == before) == (how != "taken_back")
    assert not_none(known.of_bore(bore.id)).depth_in == pytest.approx(2.875)  # of this ball it tells
    assert (saved.id in apart_depths.list_apart(session, shop.id)) == (how != "taken_back")
    session.commit()
    assert ("of that ball alone" in client.get(f"/shops/{shop.id}").text) == (how != "taken_back")
