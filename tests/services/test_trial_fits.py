"""Trial fits become a depth of the shop that bored the inner's ball, with the doubt they were made with."""

from fractions import Fraction

import numpy as np
import pytest
from alembic import command
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.calculation import bores
from app.db import alembic_config, open_engine, upgrade
from app.errors import InvalidError
from app.models import DepthObservation, Inner, InsertSystem, Shop
from app.schemas.inners import TrialDepthForm, TrialFitForm
from app.services import depths, inners, shops, trial_fits, visitors
from tests.conftest import not_none
from tests.services.conftest import Arrive, Take
from tests.services.test_depths import bore_of, half_of


def test_a_trial_fit_at_an_unknown_pitch_carries_what_it_assumed(session: Session, taken: Take, who: str) -> None:
    sure, unsure = taken(), taken(bore_pitch="unknown")
    known = []
    for inner in (sure, unsure):
        form = {"who": who, "trial_depth": "2 3/4", "proud": "flush"}
        trial_fits.add_trial_fit(session, inner.id, TrialFitForm.read(form))
        session.flush()
        known.append(
            depths.to_known_depth(trial_fits.save_trial_depth(session, inner.id, TrialDepthForm.read({"who": who})))
        )
    extra = bores.trial_pitch_doubt_in(bores.Bore(27.0, 1.5, 2.75))
    u, v = (k.standard_uncertainty_in for k in known)
    assert v == pytest.approx((u**2 + extra**2 / 3) ** 0.5)


def trial(session: Session, who: str, inner_id: int, depth: str, proud: str) -> None:
    trial_fits.add_trial_fit(session, inner_id, TrialFitForm.read({"who": who, "trial_depth": depth, "proud": proud}))
    session.flush()


def test_trial_fits_give_the_shops_depth_for_the_next_bowler(
    session: Session, arrives: Arrive, who: str, lock: InsertSystem
) -> None:
    taken = visitors.take_in(session, arrives())
    inner = inners.get_inner(session, taken.id)
    ours = shops.require_our_shop(session)
    assert visitors.predict_in_our_bore(session, inner, None, None).in_bore is None
    for depth, proud in (("2 3/4", "1/16 sunk"), ("2 11/16", "flush"), ("2.7", "1/64 sunk")):
        trial(session, who, taken.id, depth, proud)
    trial_fits.save_trial_depth(session, taken.id, TrialDepthForm.read({"who": who}))
    session.flush()
    saved = not_none(session.scalar(select(DepthObservation).where(DepthObservation.inner_id == taken.id)))
    assert saved.obtained == "trial_fit"
    assert float(saved.depth_in) == pytest.approx((2.6875 + 2.6875 + 2.684375) / 3, abs=1e-6)
    assert trial_fits.list_trial_fits(session, taken.id) == []  # they belong to the observation now
    known = depths.load_shop_depths(session, [inner.trimmed_in.shop_id])[inner.trimmed_in.shop_id, lock.id]
    low, high = known.estimate.interval_in
    assert low < 2.6875 < high
    assert known.age_days == 0
    after = visitors.predict_in_our_bore(session, inner, None, None)
    expected = bores.flushness(
        1.25,
        bores.Bore(27.0, 1.5, float(saved.depth_in), -0.25),
        bores.Bore(27.0, 1.5, depths.load_shop_depths(session, [ours.id])[ours.id, lock.id].estimate.depth_in, -0.25),
    )
    assert not_none(after.in_bore).flushness.centre_in == pytest.approx(expected.centre_in, abs=1e-6)
    assert not_none(after.in_bore).verdict == "sunk"
    assert any("shim" in line for line in not_none(after.in_bore).advice)


def test_a_trial_depth_from_another_datum_is_refused(session: Session, arrives: Arrive, who: str) -> None:
    taken = visitors.take_in(session, arrives())
    with pytest.raises(InvalidError) as refused:
        trial(session, who, taken.id, "2 3/4 from crown", "flush")
    assert "trial_depth" in refused.value.fields


SAME_IN = 2e-6  # a saved depth is kept to a millionth


def test_a_trial_depth_is_that_of_the_ball_it_was_trimmed_in(session: Session, taken: Take, who: str) -> None:
    inner = taken(circumference="26.75")
    trial(session, who, inner.id, "2 3/4", "1/64 sunk")
    saved = trial_fits.save_trial_depth(session, inner.id, TrialDepthForm.read({"who": who}))
    assert (saved.circumference_in, saved.depth_in) == (Fraction(107, 4), Fraction(2.734375))


@pytest.mark.parametrize(
    "fits", [[("2 3/4", "1/64 sunk")], [("2 3/4", "1/64 sunk"), ("2 3/4", "flush")], [("2 3/4", "flush")] * 3]
)
def test_saving_trial_fits_changes_no_interval(
    session: Session, who: str, lock: InsertSystem, stranger: Shop, fits: list[tuple[str, str]]
) -> None:
    bore = bore_of(session, lock, stranger)
    inner = Inner(bowler_id=1, label="a", system_id=lock.id, trimmed_in_id=bore.id, outside_in=Fraction(5, 4), forward_in=Fraction(0), right_in=Fraction(0))  # fmt: skip
    session.add(inner)
    session.flush()
    for depth, proud in fits:
        trial(session, who, inner.id, depth, proud)
    before = not_none(trial_fits.estimate_trial_depth(session, trial_fits.list_trial_fits(session, inner.id)))
    trial_fits.save_trial_depth(session, inner.id, TrialDepthForm.read({"who": who}))
    session.flush()
    session.expire_all()
    made = not_none(visitors.predict_in_our_bore(session, inners.get_inner(session, inner.id), None, None).made)
    assert made.shape.depth_in == pytest.approx(before.depth_in, abs=SAME_IN)
    assert made.half_width_in == pytest.approx(half_of(before.interval_in), abs=SAME_IN)
    shop = depths.load_shop_depths(session, [stranger.id])[stranger.id, lock.id]
    assert half_of(shop.estimate.interval_in) > half_of(before.interval_in)  # the shop's mean has its scatter on top


def test_trial_fits_saved_before_freedom_was_kept_get_what_their_readings_had(
    session: Session, who: str, lock: InsertSystem, stranger: Shop, database_url: str
) -> None:
    bore = bore_of(session, lock, stranger)
    inner = Inner(bowler_id=1, label="a", system_id=lock.id, trimmed_in_id=bore.id, outside_in=Fraction(5, 4), forward_in=Fraction(0), right_in=Fraction(0))  # fmt: skip
    session.add(inner)
    session.flush()
    saved = []
    for fits in ([("2 3/4", "1/64 sunk")], [("2 3/4", "1/64 sunk"), ("2 3/4", "flush"), ("2 11/16", "1/16 proud")]):
        for depth, proud in fits:
            trial(session, who, inner.id, depth, proud)
        saved.append(trial_fits.save_trial_depth(session, inner.id, TrialDepthForm.read({"who": who})))
        session.flush()
    spread = float(saved[1].repeatability_in)
    session.commit()
    command.downgrade(alembic_config(database_url), "0006")
    upgrade(database_url)
    # outside source: numpy; JCGM 100:2008 (G.2b) with the division's share, u² − s²/n, known
    wanted = [2.75 - 1 / 64, 2.75, 2.75]
    expected = 2 * spread**4 / (np.var(wanted, ddof=1) / 3) ** 2
    engine = open_engine(database_url)
    with engine.connect() as connection:
        kept = connection.exec_driver_sql(
            "SELECT freedom FROM depth_observation WHERE obtained = 'trial_fit' ORDER BY id"
        )
        freedoms = [float(Fraction(text)) for text in kept.scalars()]
    engine.dispose()
    assert freedoms == pytest.approx([8, expected], rel=1e-6)
