from fractions import Fraction

import pytest
from scipy import stats
from sqlalchemy.orm import Session

from app.errors import ConflictError, InvalidError
from app.models import Drilling
from app.schemas.drillings import ClosingForm, FindingForm, FinishForm
from app.schemas.shops import LimitForm
from app.schemas.studies import StudyForm, cells_of
from app.services import changes, drillings, measurements, shop_limits, studies
from app.services.work_outs import work_out
from tests.conftest import not_none
from tests.services.test_drillings import drilled


def measured(session: Session, of: Drilling, who: str, middle: str, ring: str) -> Drilling:
    form = {"who": who, "version": str(of.version), "middle": middle, "ring": ring}
    made = measurements.record_measurement(session, of.id, FinishForm.read(form))
    session.flush()
    return drillings.get_drilling(session, made.id)


def test_measured_against_predicted_in_64ths_with_the_span_that_follows(
    session: Session, plan: Drilling, who: str
) -> None:
    of = measured(session, drilled(session, plan, who), who, "3-47/64", "98.2 mm")
    result = not_none(measurements.compare_built(of))
    assert result.verdict == "within"
    assert result.parts["middle"].difference_in == pytest.approx(3 + 47 / 64 - result.parts["middle"].predicted_in)
    follows = (
        result.as_drilled.spans["middle"].finished_in - work_out(not_none(of.plan)).solved.spans["middle"].finished_in
    )
    assert follows == pytest.approx(result.parts["middle"].difference_in, abs=1e-4)
    assert [m.typed for m in of.measurements] == ["3-47/64", "98.2 mm"]
    assert {c.field for c in changes.list_record_lines(session, of)} >= {"sleeve to cut to middle", "verdict", "state"}


def test_out_of_tolerance_needs_a_reason_that_stays(session: Session, plan: Drilling, who: str) -> None:
    of = measured(session, drilled(session, plan, who), who, "3 25/32", "3 55/64")
    assert of.verdict == "long"
    with pytest.raises(InvalidError) as refused:
        measurements.close_drilling(session, of.id, ClosingForm.read({"who": who, "version": str(of.version)}))
    assert "reason" in refused.value.fields
    closing = {"who": who, "version": str(of.version), "reason": "bowler wants it so"}
    closed = measurements.close_drilling(session, of.id, ClosingForm.read(closing))
    assert (closed.state, closed.verdict_reason) == ("closed", "bowler wants it so")


def test_one_long_and_one_short_is_neither(session: Session, plan: Drilling, who: str) -> None:
    of = measured(session, drilled(session, plan, who), who, "3 25/32", "3 13/16")
    assert of.verdict == "mixed"


def test_measuring_again_keeps_the_first_pair_beside_it(session: Session, plan: Drilling, who: str) -> None:
    of = measured(session, drilled(session, plan, who), who, "3 25/32", "3 55/64")
    of = measured(session, of, who, "3 49/64", "3 55/64")
    assert [m.typed for m in of.measurements if m.what == "span_middle"] == ["3 25/32", "3 49/64"]
    result = not_none(measurements.compare_built(of))
    assert (result.pairs, of.verdict) == (2, "long")
    assert result.parts["middle"].measured_in == pytest.approx((3 + 25 / 32 + 3 + 49 / 64) / 2)
    assert not result.is_settled  # their mean is 0.007 in beyond the tolerance, and good to 0.015 in


def test_history_tells_how_far_each_reading_was_off_and_not_their_mean(
    session: Session, plan: Drilling, who: str
) -> None:
    predicted = work_out(not_none(plan.plan)).predicted_in("middle")
    of = drilled(session, plan, who)
    for off_64 in (2, -1):  # the mean of the two is half a 64th long
        of = measured(session, of, who, f"{predicted + off_64 / 64:.4f}", "3 55/64")
    lines = [c.new for c in changes.list_record_lines(session, of) if c.field == "sleeve to cut to middle"]
    assert sorted(line.partition(" ")[2] for line in lines) == ["(+2/64 long)", "(1/64 short)"]


def test_a_verdict_is_that_of_all_pairs_and_not_of_the_last(session: Session, plan: Drilling, who: str) -> None:
    of = measured(session, drilled(session, plan, who), who, "3.755", "3.859")
    for middle in ("3.757", "3.754", "3.735"):
        of = measured(session, of, who, middle, "3.859")
    result = not_none(measurements.compare_built(of))
    assert result.pairs == 4
    assert result.parts["middle"].measured_in == pytest.approx(3.75025)
    # u² = (8 r² + Σ(x − x̄)²) / 11 / 4 with r 1/128 stated, coverage 1 − 0.05 / 4, scipy's t at 11: worked by hand
    squares = 8 / 128**2 + sum((x - 3.75025) ** 2 for x in (3.755, 3.757, 3.754, 3.735))
    assert result.half_width_in == pytest.approx(stats.t.ppf(1 - 0.05 / 8, 11) * (squares / 11 / 4) ** 0.5, rel=1e-6)
    assert of.verdict == result.verdict


def state_doubt(session: Session, who: str, value: str, source: str) -> None:
    form = {"who": who, "version": "", "value": value, "source": source}
    shop_limits.set_limit(session, "span_spread", LimitForm.read(form))
    session.flush()


def test_a_later_gauge_study_changes_no_old_verdict_and_measuring_again_uses_it(
    session: Session, plan: Drilling, who: str
) -> None:
    state_doubt(session, who, "0.002", "our caliper")
    of = drilled(session, plan, who)
    sure = f"{work_out(not_none(of.plan)).predicted_in('middle') + float(of.tolerance_in) - 0.005:.4f}"
    ring = f"{work_out(not_none(of.plan)).predicted_in('ring'):.4f}"
    of = measured(session, of, who, sure, ring)
    before = not_none(measurements.compare_built(of))
    assert (before.is_settled, of.doubt_in, of.doubt_freedom) == (True, Fraction(1, 500), None)
    # three readings of each of three parts, half a 64th and more apart: the gauge is a good deal worse than was stated
    read = ("3.734", "3.812", "3.656", "3.746", "3.800", "3.668", "3.722", "3.824", "3.650")
    typed = dict(zip(cells_of(0), read, strict=True))
    studies.add(
        session, StudyForm.read({"who": who, "instrument": "rule", "measures": "sleeve_to_cut", "version": "1"} | typed)
    )
    session.flush()
    session.expire_all()
    of = drillings.get_drilling(session, of.id)
    assert measurements.compare_built(of) == before
    of = measured(session, of, who, sure, ring)
    limit = shop_limits.load_limits(session)["span_spread"]
    again = not_none(measurements.compare_built(of))
    assert not again.is_settled
    assert not_none(again.doubt) == measurements.ReadingDoubt(limit.value_in, limit.freedom, "gauge study of rule")
    fields = [line.field for line in changes.list_record_lines(session, of)]
    assert (fields.count("doubt_in"), fields.count("doubt_source"), fields.count("doubt_freedom")) == (2, 2, 1)


def test_a_verdict_whose_doubt_was_not_kept_is_not_settled(session: Session, plan: Drilling, who: str) -> None:
    of = measured(session, drilled(session, plan, who), who, "3-47/64", "98.2 mm")
    of.doubt_in, of.doubt_source = None, ""  # as a row of an older version
    session.flush()
    result = not_none(measurements.compare_built(of))
    assert (result.verdict, result.is_settled, result.doubt) == ("within", False, None)
    of = measured(session, of, who, "3-47/64", "98.2 mm")
    assert not_none(of.doubt_in) == shop_limits.load_limits(session)["span_spread"].value_in


def test_nothing_closes_unmeasured_and_nothing_is_drilled_twice(session: Session, plan: Drilling, who: str) -> None:
    of = drilled(session, plan, who)
    with pytest.raises(InvalidError):
        measurements.close_drilling(session, of.id, ClosingForm.read({"who": who, "version": str(of.version)}))
    with pytest.raises(ConflictError):
        drilled(session, of, who)


def test_as_found_is_its_own_record(session: Session, plan: Drilling, who: str) -> None:
    of = measured(session, drilled(session, plan, who), who, "3 47/64", "3 55/64")
    form = {"who": who, "version": str(of.version), "what": "thumb_hole", "value": "61/64", "note": "sanded at home"}
    measurements.add_finding(session, of.id, FindingForm.read(form))
    session.flush()
    of = drillings.get_drilling(session, of.id)
    assert [(m.stage, m.what) for m in of.measurements][-1] == ("found", "thumb_hole")
    assert not_none(of.plan).grip.require_thumb().hole_in == 15 / 16
    assert not_none(measurements.compare_built(of)).verdict == "within"


def test_a_measurement_no_grip_can_have_is_refused_at_its_field(session: Session, plan: Drilling, who: str) -> None:
    with pytest.raises(InvalidError) as refused:
        measured(session, drilled(session, plan, who), who, "2 1/2", "5")
    assert refused.value.fields
