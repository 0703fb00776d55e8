"""Scales of the shops, and how each was calibrated."""

from collections.abc import Sequence
from datetime import date

from sqlalchemy import select
from sqlalchemy.orm import Session, joinedload

from app.db import load_one
from app.errors import InvalidError, NotFoundError
from app.models import Scale, now
from app.schemas.forms import typed_texts
from app.schemas.scales import ScaleForm
from app.services import changes, scale_calibrations, shops

_SHOP = joinedload(Scale.shop)


def get_scale(session: Session, scale_id: int) -> Scale:
    """Returns a scale with its shop; raises NotFoundError."""
    found = load_one(session, Scale, scale_id, _SHOP)
    if found is None:
        raise NotFoundError("There is no such scale.")
    return found


def list_scales(session: Session, own_only: bool = False) -> Sequence[Scale]:
    """Returns the scales in use and then the retired ones, those of the shop that acts first."""
    ours = shops.get_our_shop(session)
    found = session.scalars(select(Scale).options(_SHOP).order_by(Scale.label, Scale.id)).all()
    shown = [of for of in found if not own_only or (ours and of.shop_id == ours.id)]
    return sorted(shown, key=lambda of: (of.retired_at is not None, not ours or of.shop_id != ours.id))


def list_texts(of: Scale) -> dict[str, str]:
    """Returns a scale's form as typed."""
    day = of.calibrated_on.isoformat() if of.calibrated_on else ""
    own = {"label": of.label, "note": of.note, "is_retired": "true" if of.retired_at else "", "calibrated_on": day}
    return of.typed | own


def _read_values(form: ScaleForm, before: Scale | None = None) -> dict[str, object]:
    """A form's values, with the arm that counts: the one typed, else the one that its calibration tells.

    A calibration that is new and has no day is today's. Texts of readings that the form no longer asks for are kept.
    """
    older = {name: text for name, text in (before.typed if before else {}).items() if name.startswith("reading_")}
    values: dict[str, object] = {
        "label": form.label,
        "resolution_oz": form.resolution.value,
        "arm_in": form.arm.value,
        "arm_u_in": form.arm_doubt.value,
        "calibrated_on": form.calibrated_on,
        "mass_oz": form.mass.value,
        "mass_doubt_oz": form.mass_doubt.value,
        "mass_step_oz": form.mass_step.value,
        "lift_in": form.lift.value,
        "place_in": form.place.value,
        "circumference_in": form.circumference.value,
        "note": form.note,
        "typed": older | typed_texts(form),
    }
    read = {f"{name}_oz": reading.value for name, reading in form.readings.items()}
    is_new = any(value is not None and (not before or getattr(before, name) != value) for name, value in read.items())
    if is_new and not form.calibrated_on:
        values["calibrated_on"] = date.today()
    settled = Scale(**values, **read)
    scale_calibrations.settle_arm(settled)
    return values | read | {"arm_in": settled.arm_in, "arm_u_in": settled.arm_u_in}


def add(session: Session, form: ScaleForm) -> Scale:
    """Adds a scale of the shop that acts; raises InvalidError for a name that it has already."""
    ours = shops.require_our_shop(session)
    _require_label(session, ours.id, form.label, 0)
    added = Scale(shop_id=ours.id, readings_oz=[], **_read_values(form))
    changes.add_record(session, form.who, added, added.label)
    return added


def edit(session: Session, scale_id: int, form: ScaleForm) -> Scale:
    """Changes a scale or its calibration; weighings keep what they were told then. Raises ConflictError."""
    of = get_scale(session, scale_id)
    changes.require_version(session, of, form.version)
    _require_label(session, of.shop_id, form.label, of.id)
    retired_at = (of.retired_at or now()) if form.is_retired else None
    changes.revise(session, form.who, of, _read_values(form, of) | {"retired_at": retired_at})
    return of


def _require_label(session: Session, shop_id: int, label: str, own_id: int) -> None:
    same = select(Scale.id).where(Scale.shop_id == shop_id, Scale.label == label, Scale.id != own_id)
    if session.scalar(same.limit(1)):
        raise InvalidError.at("label", "This shop has a scale of that name already.")
