"""Gauge studies: how well an instrument, and the people using it, repeat themselves."""

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from sqlalchemy import select
from sqlalchemy.orm import Session, joinedload

from app.calculation.gauges import GaugeStudy, gauge_study
from app.models import Study
from app.schemas.shops import SettingForm
from app.schemas.studies import PARTS, PEOPLE, TRIALS, StudyForm, cell
from app.services import changes, shops

SETS = {"sleeve_to_cut": "span_spread", "depth": "collar_spread"}  # the limit that each kind of study sets


@dataclass(frozen=True)
class StudyCard:
    study: Study
    result: GaugeStudy


def cards(session: Session) -> list[StudyCard]:
    """Every study with its result, newest first."""
    query = select(Study).options(joinedload(Study.staff)).order_by(Study.id.desc())
    return [StudyCard(study, _result(study.readings)) for study in session.scalars(query)]


def _result(readings: Sequence[Sequence[Sequence[str]]]) -> GaugeStudy:
    return gauge_study([[[float(Fraction(v)) for v in trial] for trial in person] for person in readings])


def add(session: Session, form: StudyForm) -> Study:
    """Keeps a study, and sets the shop's default doubt of what it measured to the gauge's spread."""
    readings = [[[str(form.values[cell(p, t, k)]) for k in range(PARTS)] for t in range(TRIALS)] for p in range(PEOPLE)]
    added = Study(instrument=form.instrument, measures=form.measures, readings=readings, staff_id=form.who)
    changes.made(session, form.who, added, f"gauge study of {form.instrument}")
    spread = Fraction(_result(readings).gauge).limit_denominator(10**6)
    setting = {"who": str(form.who), "value": f"{float(spread):.6f}", "source": f"gauge study of {form.instrument}"}
    shops.set_limit(session, SETS[form.measures], SettingForm.read(setting))
    return added
