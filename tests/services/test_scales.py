"""Scales: exact calibration readings, and names that are taken."""

import math
from datetime import date
from fractions import Fraction

import pytest
from sqlalchemy.orm import Session

from app.errors import ConflictError, InvalidError
from app.models import Scale
from app.schemas.scales import ScaleForm
from app.services import changes, scales
from tests.conftest import not_none

SCALE = {
    "label": "Arm scale", "resolution": "1/8", "arm": "4 5/16", "arm_doubt": "0.03", "calibrated_on": "2026-02-01",
    "mass": "50 g", "place": "6 3/4", "circumference": "27", "without_first": "1/4", "without_turned": "-1/4 oz",
    "taped_first": "2", "taped_turned": "-2",
}  # fmt: skip


def add(session: Session, who: str, **typed: str) -> Scale:
    made = scales.add(session, ScaleForm.read({"who": who} | SCALE | typed))
    session.flush()
    return made


def test_a_calibration_is_kept_exactly_and_as_typed(session: Session, who: str) -> None:
    made = add(session, who)
    assert (made.arm_in, made.arm_u_in, made.resolution_oz) == (Fraction(69, 16), Fraction(3, 100), Fraction(1, 8))
    assert made.mass_oz == 50 / Fraction("28.349523125")  # grams in an ounce, by definition since 1959
    assert (made.without_turned_oz, made.taped_first_oz, made.readings_oz) == (Fraction(-1, 4), Fraction(2), [])
    assert made.typed["without_turned"] == "-1/4 oz"
    assert scales.list_texts(made)["calibrated_on"] == "2026-02-01"


def test_readings_need_their_mass_and_each_other(who: str) -> None:
    with pytest.raises(InvalidError) as asked:
        ScaleForm.read({"who": who} | SCALE | {"mass": "", "taped_turned": "", "arm": ""})
    assert set(asked.value.fields) == {"mass", "taped_turned", "arm"}
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


def test_an_arm_that_was_not_typed_is_the_calibrations_and_has_history(session: Session, who: str) -> None:
    made = add(session, who, arm="", arm_doubt="", calibrated_on="")
    # by hand: 50 g at R move it by 1.75 oz, so the arm is 50 / 28.349523125 * R / 1.75
    assert float(not_none(made.arm_in)) == pytest.approx(50 / 28.349523125 * 13.5 / math.pi / 1.75, abs=1e-4)
    assert made.typed.get("arm") is None
    assert made.calibrated_on == date.today()
    before = made.arm_in
    again = SCALE | {"arm": "", "arm_doubt": "", "calibrated_on": "", "taped_first": "2 1/8", "taped_turned": "-2 1/8"}
    scales.edit(session, made.id, ScaleForm.read({"who": who, "version": str(made.version)} | again))
    session.flush()
    told = {line.field: (line.old, line.new, line.name) for line in changes.list_record_lines(session, made)}
    assert told["arm_in"][:2] == (changes.format_value(before), changes.format_value(made.arm_in))
    assert told["taped_first_oz"][:2] == ("2", "2 1/8")
    assert told["arm_in"][2]
    assert float(not_none(made.arm_in)) == pytest.approx(50 / 28.349523125 * 13.5 / math.pi / 1.875, abs=1e-4)
