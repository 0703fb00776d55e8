"""Kinds of parts: what each needs, what may not change once used, and what comes and goes with its hardware."""

from fractions import Fraction

import pytest
from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.errors import ConflictError, InvalidError
from app.models import InsertSystem, Part, PartMovement
from app.schemas.parts import DeliveryForm, PartForm
from app.schemas.systems import RemovalForm, SystemForm
from app.services import changes, parts, shelf, systems
from seed_demo.world import TWIST_LOCK
from tests.conftest import not_none

pytestmark = pytest.mark.both
INNER = {"kind": "inner", "system_id": "1", "label": "Inner", "size": "1 1/4", "lot": "A7"}


@pytest.mark.parametrize(
    ("typed", "field"),
    [
        ({"kind": "inner", "system_id": ""}, "system_id"),
        ({"size": ""}, "size"),
        ({"size": "unknown"}, "size"),
        ({"cure_minutes": "5"}, "cure_minutes"),
        ({"kind": "glue", "cure_minutes": "0"}, "cure_minutes"),
        ({"outside_low": "1.24"}, "outside_high"),
        ({"outside_high": "1.24"}, "outside_low"),
        ({"outside_low": "1.26", "outside_high": "1.25"}, "outside_high"),
        ({"least": "-1"}, "least"),
        ({"least": "many"}, "least"),
        ({"label": ""}, "label"),
    ],
)
def test_a_wrong_field_is_named(who: str, typed: dict[str, str], field: str) -> None:
    with pytest.raises(InvalidError) as refused:
        PartForm.read(INNER | {"who": who} | typed)
    assert list(refused.value.fields) == [field]


@pytest.mark.parametrize(
    ("typed", "field"),
    [
        ({"system_id": "3"}, "system_id"),  # a finger's insert has no inner
        ({"kind": "insert"}, "system_id"),
        ({"system_id": "999"}, "system_id"),
        ({"lot": ""}, "lot"),  # is there already
    ],
)
def test_what_the_shelf_has_decides_too(session: Session, who: str, typed: dict[str, str], field: str) -> None:
    with pytest.raises(InvalidError) as refused:
        parts.add(session, PartForm.read(INNER | {"who": who} | typed))
    assert list(refused.value.fields) == [field]


def test_sizes_are_exact_and_their_texts_are_kept(session: Session, who: str) -> None:
    typed = INNER | {"who": who, "size": "31.75 mm", "outside_low": "1.249", "outside_high": "1.2505"}
    made = parts.add(session, PartForm.read(typed))
    session.flush()
    session.expire_all()
    assert (made.size_in, made.outside_low_in, made.outside_high_in) == (
        Fraction(5, 4),
        Fraction(1249, 1000),
        Fraction(2501, 2000),
    )
    assert made.typed == {"size": "31.75 mm", "outside_low": "1.249", "outside_high": "1.2505"}


def test_kind_and_size_stay_once_a_drilling_used_one(session: Session, who: str) -> None:
    made = parts.add(session, PartForm.read(INNER | {"who": who}))
    form = INNER | {"who": who, "size": "1 3/8", "version": str(made.version)}
    edited = parts.edit(session, made.id, PartForm.read(form))
    assert (edited.size_in, shelf.key_of(edited)) == (Fraction(11, 8), ("inner", 1, "1 3/8"))
    shelf.post(session, int(who), edited, PartMovement(count=-1, cause="use", why="x", drilling_id=1))
    with pytest.raises(InvalidError):
        parts.edit(session, made.id, PartForm.read(INNER | {"who": who, "version": str(edited.version)}))
    kept = INNER | {"who": who, "size": "1 3/8", "least": "4", "version": str(edited.version)}
    assert parts.edit(session, made.id, PartForm.read(kept)).least == 4


def test_an_edit_of_an_older_version_is_refused(session: Session, who: str) -> None:
    made = parts.add(session, PartForm.read(INNER | {"who": who}))
    seen = made.version
    shelf.deliver(session, made.id, DeliveryForm.read({"who": who, "count": "2"}))
    with pytest.raises(ConflictError):
        parts.edit(session, made.id, PartForm.read(INNER | {"who": who, "version": str(seen)}))


def test_the_stock_of_hardware_follows_a_part_that_moves_or_retires(session: Session, who: str) -> None:
    first, second = (session.get_one(InsertSystem, number) for number in (1, 2))
    before = (first.stock["1 1/4"], second.stock["1 1/4"])
    made = parts.add(session, PartForm.read(INNER | {"who": who}))
    shelf.deliver(session, made.id, DeliveryForm.read({"who": who, "count": "5"}))
    assert first.stock["1 1/4"] == before[0] + 5
    form = INNER | {"who": who, "system_id": "2", "version": str(made.version)}
    parts.edit(session, made.id, PartForm.read(form))
    assert (first.stock["1 1/4"], second.stock["1 1/4"]) == (before[0], before[1] + 5)
    form |= {"version": str(made.version), "is_retired": "true"}
    parts.edit(session, made.id, PartForm.read(form))
    assert second.stock["1 1/4"] == before[1]
    assert made in shelf.list_retired(session)


def test_new_hardware_opens_its_parts_and_an_edit_leaves_them(session: Session, who: str) -> None:
    typed = TWIST_LOCK | {"who": who, "label": "Another", "stock": "1 1/4: 3, 1 3/8: 0"}
    made = systems.add(session, SystemForm.read(typed))
    found = shelf.list_counts(session, Part.system_id == made.id)
    assert [(shelf.name_part(part), count) for part, count in found] == [("Inner 1 1/4", 3), ("Inner 1 3/8", 0)]
    assert made.stock == {"1 1/4": 3, "1 3/8": 0}
    assert [line.field for line in changes.list_record_lines(session, made)] == ["made"]
    edited = typed | {"stock": "1 1/4: 99", "notes": "new", "version": str(made.version)}
    systems.edit(session, made.id, SystemForm.read(edited))
    assert (made.stock, made.typed["stock"]) == ({"1 1/4": 3, "1 3/8": 0}, "1 1/4: 3, 1 3/8: 0")
    systems.remove(session, made.id, RemovalForm.read({"who": who, "version": str(made.version)}))
    session.flush()
    assert session.scalar(select(func.count(Part.id)).where(Part.system_id == made.id)) == 0


def test_hardware_whose_parts_were_delivered_stays(session: Session, who: str) -> None:
    made = systems.add(session, SystemForm.read(TWIST_LOCK | {"who": who, "label": "Another"}))
    part = not_none(session.scalar(select(Part).where(Part.system_id == made.id)))
    shelf.deliver(session, part.id, DeliveryForm.read({"who": who, "count": "1"}))
    with pytest.raises(ConflictError, match="parts that were delivered or used"):
        systems.remove(session, made.id, RemovalForm.read({"who": who, "version": str(made.version)}))


def test_an_inner_that_turns_out_a_sleeve_leaves_the_stock_of_its_hardware(session: Session, who: str) -> None:
    form = INNER | {"who": who, "size": "1 1/2"}
    made = parts.add(session, PartForm.read(form))
    shelf.deliver(session, made.id, DeliveryForm.read({"who": who, "count": "7"}))
    system = not_none(session.get(InsertSystem, 1))
    assert system.stock["1 1/2"] == 7
    before = dict(system.stock)
    parts.edit(session, made.id, PartForm.read(form | {"kind": "sleeve", "version": str(made.version)}))
    assert "1 1/2" not in system.stock
    parts.edit(session, made.id, PartForm.read(form | {"version": str(made.version)}))
    assert system.stock == before
