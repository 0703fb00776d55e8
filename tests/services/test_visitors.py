from collections.abc import Callable
from fractions import Fraction

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.calculation import bores
from app.errors import InvalidError
from app.measures.pitches import Pitch
from app.models import Ball, Bowler, DepthObservation, Drilling, InsertSystem, Shop, ShopLimit
from app.schemas.inners import InnerFindingForm, TrialDepthForm, TrialFitForm, VisitorForm
from app.schemas.systems import DepthForm
from app.services import changes, depths, inners, shops, target_depths, trial_fits, visitors
from app.services.inners_in_bores import InnerInBore
from app.services.unsettled import Unsettled
from tests.conftest import Client, not_none

Arrive = Callable[..., VisitorForm]


@pytest.fixture
def lock(session: Session) -> InsertSystem:
    return not_none(session.scalar(select(InsertSystem).where(InsertSystem.height_set_by == "bore_floor")))


@pytest.fixture
def arrives(who: str, lock: InsertSystem) -> Arrive:
    def made(**typed: str) -> VisitorForm:
        form = {
            "who": who, "bowler_name": "Orla Fenn", "bowler_phone": "555 0190 3321", "hand": "right",
            "shop_name": "Bridge End Drilling", "system_id": str(lock.id), "outside": "1 1/4", "thumb_hole": "31/32",
            "bore_pitch": "1/4 reverse, 0",
        }  # fmt: skip
        return VisitorForm.read(form | typed)

    return made


def trial(session: Session, who: str, inner_id: int, depth: str, proud: str) -> None:
    trial_fits.add_trial_fit(session, inner_id, TrialFitForm.read({"who": who, "trial_depth": depth, "proud": proud}))
    session.flush()


def test_one_page_adds_bowler_shop_bore_and_inner(session: Session, arrives: Arrive) -> None:
    taken = visitors.take_in(session, arrives())
    inner = inners.get_inner(session, taken.id)
    assert (inner.bowler.name, inner.trimmed_in.shop.name) == ("Orla Fenn", "Bridge End Drilling")
    assert inner.trimmed_in.forward_in == Fraction(-1, 4)
    assert inner.trimmed_in.depth_in is None
    assert inner.trimmed_in.notch_deg == 180
    assert len(changes.list_bowler_lines(session, inner.bowler_id)) >= 3


def test_a_ball_that_came_along_is_logged_as_that_shops_drilling(session: Session, arrives: Arrive) -> None:
    taken = visitors.take_in(session, arrives(ball_label="Green", circumference="26.9"))
    drilling = not_none(session.scalar(select(Drilling).where(Drilling.bore_id == taken.trimmed_in_id)))
    assert (drilling.state, not_none(session.get(Ball, drilling.ball_id)).label) == ("closed", "Green")
    assert not_none(session.get(Shop, drilling.shop_id)).name == "Bridge End Drilling"


def test_a_told_depth_becomes_that_shops_observation_with_its_source(
    session: Session, arrives: Arrive, lock: InsertSystem
) -> None:
    taken = visitors.take_in(session, arrives(depth="2 11/16", datum="collar", obtained="told"))
    shop_id = inners.get_inner(session, taken.id).trimmed_in.shop_id
    known = depths.load_shop_depths(session, [shop_id])[shop_id, lock.id]
    assert known.estimate.depth_in == pytest.approx(2.6875)
    assert known.sources == ("told by the shop",)


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


def test_a_proud_inner_is_never_advised_to_be_trimmed_away(session: Session, arrives: Arrive) -> None:
    taken = visitors.take_in(session, arrives(depth="2 7/8", datum="collar"))
    inner = inners.get_inner(session, taken.id)
    session.flush()
    in_bore = not_none(visitors.predict_in_our_bore(session, inner, None, None).in_bore)
    assert in_bore.flushness.centre_in > 0.1
    assert any(line.startswith("Do not trim") for line in in_bore.advice)


def test_a_difference_of_pitch_leaves_a_tilt_that_no_depth_cures(session: Session, arrives: Arrive) -> None:
    taken = visitors.take_in(session, arrives(depth="2 3/4", datum="collar"))
    inner = inners.get_inner(session, taken.id)
    in_bore = not_none(visitors.predict_in_our_bore(session, inner, Pitch(Fraction(0), Fraction(0)), None).in_bore)
    assert in_bore.tilt_left_in > 1 / 64
    assert any("No depth cures" in line for line in in_bore.advice)


def test_a_verdict_inside_the_grey_band_is_measure(session: Session, arrives: Arrive) -> None:
    taken = visitors.take_in(session, arrives(depth="2 3/4", datum="collar"))
    in_bore = not_none(visitors.predict_in_our_bore(session, inners.get_inner(session, taken.id), None, None).in_bore)
    assert in_bore.half_width_in > 1 / 64
    assert in_bore.verdict == "measure"


def test_an_unknown_datum_widens_the_interval(session: Session, arrives: Arrive, lock: InsertSystem) -> None:
    known = visitors.take_in(session, arrives(depth="2 3/4", datum="collar", shop_name="One"))
    vague = visitors.take_in(
        session, arrives(depth="2 3/4", datum="unknown", shop_name="Two", bowler_name="Abel Zorn", bowler_phone="")
    )
    by_shop = depths.load_shop_depths(
        session, [inners.get_inner(session, i.id).trimmed_in.shop_id for i in (known, vague)]
    )
    widths = [d.estimate.standard_uncertainty_in for d in by_shop.values()]
    assert widths[1] > widths[0]


@pytest.mark.parametrize(
    ("typed", "field"),
    [
        ({"bowler_name": ""}, "bowler_name"), ({"shop_name": ""}, "shop_id"), ({"shop_name": "Northgate Drilling"}, "shop_name"), ({"outside": ""}, "outside"),
        ({"outside": "1 5/8"}, "outside"), ({"thumb_hole": "1 1/4"}, "thumb_hole"), ({"depth": "-2"}, "depth"), ({"depth": "70"}, "depth"),
        ({"depth": "2 3/4 crown", "datum": "collar"}, "datum"), ({"circumference": "28"}, "circumference"), ({"bore_pitch": "1/4R"}, "bore_pitch"), ({"notch": "6"}, "notch"),
    ],
)  # fmt: skip
def test_bad_intake_is_refused_at_its_field_and_nothing_is_kept(
    session: Session, arrives: Arrive, typed: dict[str, str], field: str
) -> None:
    before = session.query(Bowler).count(), session.query(Shop).count()
    session.rollback()
    with pytest.raises(InvalidError) as refused:
        visitors.take_in(session, arrives(**typed))
    assert field in refused.value.fields
    session.rollback()
    assert (session.query(Bowler).count(), session.query(Shop).count()) == before


def test_an_observation_from_the_future_is_refused(who: str, lock: InsertSystem) -> None:
    typed = {"who": who, "system_id": str(lock.id), "depth": "2 3/4", "datum": "collar", "obtained": "told"}
    with pytest.raises(InvalidError) as refused:
        DepthForm.read(typed | {"observed_on": "2999-01-01"})
    assert "observed_on" in refused.value.fields


def test_a_trial_depth_from_another_datum_is_refused(session: Session, arrives: Arrive, who: str) -> None:
    taken = visitors.take_in(session, arrives())
    with pytest.raises(InvalidError) as refused:
        trial(session, who, taken.id, "2 3/4 from crown", "flush")
    assert "trial_depth" in refused.value.fields


def test_an_inner_sanded_at_home_is_recorded_as_found_beside_what_was_built(
    session: Session, arrives: Arrive, who: str
) -> None:
    taken = visitors.take_in(session, arrives())
    found = {"who": who, "value": "63/64", "note": "sanded at home"}
    inners.add_finding(session, taken.id, InnerFindingForm.read(found))
    session.flush()
    assert inners.get_inner(session, taken.id).hole_in == Fraction(31, 32)
    assert [m.value_in for m in inners.list_findings(session, taken.id)] == [Fraction(63, 64)]


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
