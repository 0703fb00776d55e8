"""Gauge studies: how repeatable the readings of an instrument and its users are."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

from sqlalchemy import select
from sqlalchemy.orm import Session, joinedload

from app.calculation.gauges import GaugeStudy, gauge_study
from app.calculation.tolerances import FINEST_DIVISION_IN
from app.measures.divisions import division_in
from app.models import ShopLimit, Study
from app.schemas.shops import LimitForm
from app.schemas.studies import PARTS, TRIALS, StudyForm, cell
from app.services import changes, shop_limits

LIMIT_NAMES = {"sleeve_to_cut": "span_spread", "depth": "collar_spread"}  # by what a study measures


@dataclass(frozen=True)
class StudyCard:
    study: Study
    result: GaugeStudy


def list_cards(session: Session) -> list[StudyCard]:
    """Returns every study with its result, newest first."""
    query = select(Study).options(joinedload(Study.staff)).order_by(Study.id.desc())
    return [StudyCard(study, _work_out_study(study.readings, study.typed)) for study in session.scalars(query)]


def _work_out_study(readings: Sequence[Sequence[Sequence[str]]], typed: Mapping[str, str]) -> GaugeStudy:
    """Calculates a study's result, with the division of the typed texts if they are stored."""
    division = max(float(division_in(typed.values())), FINEST_DIVISION_IN)
    return gauge_study([[[float(Fraction(v)) for v in trial] for trial in person] for person in readings], division)


def add(session: Session, form: StudyForm) -> Study:
    """Stores a study, and sets the limit that it measured to the gauge's spread, with its degrees of freedom."""
    readings = [[[str(form.values[cell(p, t, k)]) for k in range(PARTS)] for t in range(TRIALS)] for p in form.people]
    added = Study(
        instrument=form.instrument, measures=form.measures, readings=readings, typed=form.typed, staff_id=form.who
    )
    changes.add_record(session, form.who, added, f"gauge study of {form.instrument}")
    result = _work_out_study(readings, form.typed)
    typed = {"who": str(form.who), "value": f"{result.gauge:.6f}", "source": f"gauge study of {form.instrument}"}
    name = LIMIT_NAMES[form.measures]
    stored = session.get(ShopLimit, name)
    typed["version"] = str(stored.version) if stored else ""
    shop_limits.set_limit(session, name, LimitForm.read(typed), result.freedom)
    return added
