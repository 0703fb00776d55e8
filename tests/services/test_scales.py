"""Scales: exact calibration readings, and names that are taken."""

from fractions import Fraction

import pytest
from sqlalchemy.orm import Session

from app.errors import ConflictError, InvalidError
from app.models import Scale
from app.schemas.scales import ScaleForm
from app.services import changes, scales

SCALE = {
    "label": "Arm scale", "resolution": "1/8", "arm": "4 5/16", "arm_doubt": "0.03", "calibrated_on": "2026-02-01",
    "mass": "50 g", "place": "6 3/4", "circumference": "27", "reading_1": "1.75", "reading_2": "", "reading_3": "1 3/4 oz",
}  # fmt: skip


def add(session: Session, who: str, **typed: str) -> Scale:
    made = scales.add(session, ScaleForm.read({"who": who} | SCALE | typed))
    session.flush()
    return made


def test_a_calibration_is_kept_exactly_and_as_typed(session: Session, who: str) -> None:
    made = add(session, who)
    assert (made.arm_in, made.arm_u_in, made.resolution_oz) == (Fraction(69, 16), Fraction(3, 100), Fraction(1, 8))
    assert made.mass_oz == 50 / Fraction("28.349523125")  # grams in an ounce, by definition since 1959
    assert made.readings_oz == ["7/4", "7/4"]
    assert made.typed["reading_3"] == "1 3/4 oz"
    assert scales.list_texts(made)["calibrated_on"] == "2026-02-01"


def test_readings_need_their_mass_and_its_place(who: str) -> None:
    with pytest.raises(InvalidError) as asked:
        ScaleForm.read({"who": who} | SCALE | {"mass": "", "place": "", "arm": ""})
    assert set(asked.value.fields) == {"mass", "place", "arm"}
    assert ScaleForm.read({"who": who} | SCALE | {"place": "unknown"}).place.value is None


def test_a_scale_is_changed_and_retired_with_history(session: Session, who: str) -> None:
    made = add(session, who)
    with pytest.raises(InvalidError):
        add(session, who)
    stale = ScaleForm.read({"who": who, "version": "9"} | SCALE)
    with pytest.raises(ConflictError):
        scales.edit(session, made.id, stale)
    edit = ScaleForm.read({"who": who, "version": str(made.version), "is_retired": "true"} | SCALE | {"arm": "4 1/4"})
    scales.edit(session, made.id, edit)
    session.flush()
    told = {line.field: (line.old, line.new) for line in changes.list_record_lines(session, made)}
    assert told["arm_in"] == ("4 5/16", "4 1/4")
    assert made.retired_at is not None
