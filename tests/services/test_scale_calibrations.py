"""The arm of a scale from its taped mass, with what nobody typed ASSUMED, and how it enters a prediction."""

import math
from fractions import Fraction

import pytest
from scipy import integrate
from sqlalchemy.orm import Session

from app.errors import InvalidError
from app.models import Drilling, Scale, Weighing
from app.services import balances, read_balances, scale_calibrations
from app.services.balance_starts import TypedStart
from tests.conftest import not_none
from tests.services.test_balances import DENSITY, contract_plan

ON_CENTRE = TypedStart(Fraction(3), Fraction(0), Fraction(0))
RADIUS = 13.5 / math.pi
NORMAL = 1.959964


@pytest.fixture
def drilling(session: Session, plan: Drilling) -> Drilling:
    plan.plan, plan.ball.weight_lb = contract_plan(not_none(plan.plan)), Fraction(15)
    session.flush()
    return plan


def make_scale(**own: object) -> Scale:
    read = {"without_first_oz": "5/8", "without_turned_oz": "-1/2", "taped_first_oz": "9/2", "taped_turned_oz": "-35/8"}
    values: dict[str, object] = {name: Fraction(text) for name, text in read.items()}
    values |= {
        "label": "Bench",
        "readings_oz": [],
        "typed": {},
        "mass_oz": Fraction(4),
        "resolution_oz": Fraction(1, 16),
    }
    return Scale(**values | own)


def test_the_balls_own_imbalance_and_the_zero_are_taken_off() -> None:
    # by hand: (4.5 + 4.375) / 2 - (0.625 + 0.5) / 2 = 3.875 oz for 4 oz at a lever of R + 3/8
    own = {"lift_in": Fraction(3, 8), "mass_doubt_oz": Fraction(1, 50), "circumference_in": Fraction(27)}
    found = not_none(not_none(scale_calibrations.work_out(make_scale(place_in=Fraction(27, 4), **own))).arm)
    assert found.change_oz == pytest.approx(3.875)
    assert found.arm_in == pytest.approx(4 * (RADIUS + 0.375) / 3.875)
    one_u = math.hypot(1 / 16 / math.sqrt(12), 1 / 16)  # JCGM 100:2008, 4.3.7; half a difference of two, twice
    assert found.standard_uncertainty_in == pytest.approx(found.arm_in * math.hypot(one_u / 3.875, 0.02 / 4))


@pytest.mark.parametrize(
    ("own", "doubt_oz", "words"),
    [
        ({"mass_step_oz": Fraction(1, 20)}, 0.025, "doubt of the mass 0.025 oz, half of its scale’s division"),
        ({}, 1 / 32, "doubt of the mass 0.031 oz, half of this scale’s division"),
        ({"resolution_oz": None}, 1 / 16, "doubt of the mass 0.062 oz, half of 1/8 oz"),
    ],
)
def test_what_nobody_typed_is_assumed_and_said(own: dict[str, object], doubt_oz: float, words: str) -> None:
    of = make_scale(**own)
    found = not_none(scale_calibrations.work_out(of))
    arm = not_none(found.arm)
    step = 1 / 16 if of.resolution_oz else 1 / 8
    one_u = math.hypot(step / math.sqrt(12), 1 / 16)
    assert arm.standard_uncertainty_in == pytest.approx(arm.arm_in * math.hypot(one_u / 3.875, doubt_oz / 4))
    assert words in found.assumed
    assert {"ball 27 in around", "taped where the scale weighs", "the mass’s middle at the surface"} < set(
        found.assumed
    )


def test_an_unknown_mass_or_place_tells_no_arm() -> None:
    for of in (make_scale(mass_oz=None), make_scale(typed={"place": "unknown"})):
        found = not_none(scale_calibrations.work_out(of))
        assert found.arm is None
        assert "unknown" in found.unknown
    assert scale_calibrations.work_out(make_scale(taped_turned_oz=None)) is None


def test_an_arm_typed_beyond_both_doubts_is_asked_and_one_within_them_counts() -> None:
    told = not_none(not_none(scale_calibrations.work_out(make_scale())).arm)
    for doubt in (0.0, 0.1):
        far = NORMAL * math.hypot(told.standard_uncertainty_in, doubt)
        within, beyond = (
            make_scale(arm_in=Fraction(told.arm_in + far * by), arm_u_in=Fraction(doubt)) for by in (0.99, 1.01)
        )
        typed = within.arm_in
        scale_calibrations.settle_arm(within)
        assert within.arm_in == typed
        with pytest.raises(InvalidError) as asked:
            scale_calibrations.settle_arm(beyond)
        assert list(asked.value.fields) == ["arm"]
        assert asked.value.fields["arm"].choices == (f"{told.arm_in:.3f}",)


def moment_of(size_oz: float, arc_in: float) -> float:
    """The first moment of a body of such a weight, spread evenly along a line from the centre out to the surface."""
    moment, _ = integrate.quad(lambda r: size_oz / RADIUS * r, 0, RADIUS)
    return float(moment * math.sin(arc_in / RADIUS))


def test_a_scale_whose_arm_is_ten_percent_off_is_put_right_by_its_calibration(
    session: Session, drilling: Drilling, who: str
) -> None:
    """A true moment, read on a scale whose arm is 0.9 R, is predicted for a scale with an arm of R as it truly is."""
    arm, own, mass = 0.9 * RADIUS, moment_of(2.0, 1.0), 4.0
    off = make_scale(shop_id=drilling.shop_id, circumference_in=Fraction(27), mass_doubt_oz=Fraction(1, 50))
    shown = [own / arm, -own / arm, (own + mass * RADIUS) / arm, -(own + mass * RADIUS) / arm]
    for name, value in zip(("without_first", "without_turned", "taped_first", "taped_turned"), shown, strict=True):
        setattr(off, f"{name}_oz", Fraction(0.2 + value).limit_denominator(10**6))  # its zero is off too
    scale_calibrations.settle_arm(off)
    assert float(not_none(off.arm_in)) == pytest.approx(arm, abs=1e-4)
    true = Scale(
        shop_id=drilling.shop_id, label="True", readings_oz=[], arm_in=Fraction(RADIUS), arm_u_in=Fraction(1, 20)
    )
    session.add_all([off, true])
    session.flush()
    moments = moment_of(3.0, 1.2), moment_of(-2.0, 0.8), moment_of(4.0, 3.0)
    right, finger, top = (Fraction(moment / arm).limit_denominator(10**6) for moment in moments)
    session.add(
        Weighing(
            ball_id=drilling.ball_id, drilling_id=drilling.id, scale_id=off.id, stage="before", staff_id=int(who),
            right_1_oz=right, finger_1_oz=finger, top_1_oz=top, typed={},
        )
    )  # fmt: skip
    session.flush()
    told = not_none(balances.predict(session, drilling, TypedStart(), DENSITY, true))
    start = not_none(told.balance).ounces.plus(told.change, -1.0)
    assert start[:3] == pytest.approx([moment / RADIUS for moment in moments], rel=1e-4)  # 11 % apart uncorrected
    on_own = not_none(balances.predict(session, drilling, TypedStart(), DENSITY, off))
    assert not_none(on_own.balance).ounces.plus(on_own.change, -1.0)[:3] == pytest.approx(
        [moment / arm for moment in moments], rel=1e-4
    )
    # the arm of the own scale cancels in its reading; of two scales both arms count, the second in all that hangs on it
    size = math.hypot(*moments)
    u = math.hypot(read_balances.find_reading_u_oz(1 / 16), 1 / 8)  # read once: its zero counts
    share = float(not_none(off.arm_u_in)) / float(not_none(off.arm_in))
    doubts = not_none(told.uncertainty)
    assert doubts.top_weight_oz == pytest.approx(size / RADIUS * share, rel=1e-4)
    assert not_none(doubts.start_oz) == pytest.approx((u * arm / RADIUS,) * 3, rel=1e-4)
    by_arm = next(one for one in not_none(not_none(told.balance).doubts) if one.source == "arm of the scale")
    assert by_arm.change.right_oz == pytest.approx(-not_none(told.balance).ounces.right_oz * 0.05 / RADIUS)


def test_the_doubt_of_the_arm_widens_every_interval(session: Session, drilling: Drilling) -> None:
    def predict(doubt: str) -> balances.Prediction:
        scale = Scale(
            shop_id=drilling.shop_id, label="Bench", readings_oz=[], arm_in=Fraction(4), arm_u_in=Fraction(doubt)
        )
        return not_none(balances.predict(session, drilling, ON_CENTRE, DENSITY, scale))

    sure, doubtful = predict("0"), predict("0.2")
    for i in range(3):
        narrow, wide = (not_none(not_none(one.balance).find_interval(i)) for one in (sure, doubtful))
        by_arm = NORMAL * abs(sure.change[i]) * 0.2 / 4  # what drilling changed, over an arm that errs by 5 %
        half = math.hypot((narrow[1] - narrow[0]) / 2, by_arm)
        assert (wide[1] - wide[0]) / 2 == pytest.approx(half, rel=1e-6)
        assert i == 0 or wide[1] - wide[0] > narrow[1] - narrow[0] + 1e-4
