"""Insert systems: hardware families under the shop's own labels."""

from collections.abc import Sequence
from fractions import Fraction

from sqlalchemy import func, or_, select
from sqlalchemy.orm import Session

from app.errors import ConflictError, InvalidError, NotFoundError
from app.measures.ovals import Towards
from app.models import Bore, DepthObservation, Drilling, Fit, FitHole, Inner, InsertSystem, Trouble
from app.schemas.forms import typed_texts
from app.schemas.systems import RemovalForm, SystemForm
from app.services import changes, parts


def list_systems(session: Session, digit: str = "") -> Sequence[InsertSystem]:
    """Returns systems in use by label, all of them or those for one digit."""
    query = select(InsertSystem).where(InsertSystem.removed_at.is_(None)).order_by(InsertSystem.label)
    return session.scalars(query.where(InsertSystem.digit == digit) if digit else query).all()


def get_system(session: Session, system_id: int) -> InsertSystem:
    """Returns a system; raises NotFoundError."""
    found = session.get(InsertSystem, system_id)
    if found is None:
        raise NotFoundError("There is no such insert system.")
    return found


def add(session: Session, form: SystemForm) -> InsertSystem:
    _check(session, form, None)
    stock = form.stock_by_size
    counts = {size: count for size, (_, count) in stock.items()}
    added = InsertSystem(**_read_values(form, form.stock), stock=counts)
    changes.add_record(session, form.who, added, added.label)
    parts.open_stock(session, form.who, added, stock)
    return added


def edit(session: Session, system_id: int, form: SystemForm) -> InsertSystem:
    """Changes a system; its stock is counted on the shelf and does not change here."""
    edited = get_system(session, system_id)
    changes.require_version(session, edited, form.version)
    _check(session, form, edited.id)
    values = _read_values(form, edited.typed.get("stock", "")) | {"removed_at": None}
    changes.revise(session, form.who, edited, values)
    return edited


def list_uses(session: Session, of: InsertSystem) -> list[str]:
    """Returns in words where a system is used."""
    counts = {
        "fits": select(func.count(Fit.id.distinct()))
        .outerjoin(FitHole, FitHole.fit_id == Fit.id)
        .where(or_(Fit.system_id == of.id, FitHole.system_id == of.id)),
        "drillings": select(func.count()).select_from(Drilling).where(Drilling.system_id == of.id),
        "inners": select(func.count()).select_from(Inner).where(Inner.system_id == of.id),
        "depth observations": select(func.count())
        .select_from(DepthObservation)
        .where(DepthObservation.system_id == of.id),
        "lines of the service log": select(func.count()).select_from(Trouble).where(Trouble.system_id == of.id),
        "bores": select(func.count()).select_from(Bore).where(Bore.system_id == of.id),
    }
    return [f"{count} {words}" for words, query in counts.items() if (count := session.scalar(query))]


def remove(session: Session, system_id: int, form: RemovalForm) -> None:
    """Removes an unused system; raises ConflictError with the list of its uses."""
    gone = get_system(session, system_id)
    changes.require_version(session, gone, form.version)
    used = list_uses(session, gone) + (["parts that were delivered or used"] if parts.is_used(session, gone.id) else [])
    if used:
        raise ConflictError(f"{gone.label} is used in {', '.join(used)}: it stays.")
    changes.note(session, form.who, gone, changes.Entry("removed", gone.label, ""))
    parts.forget(session, gone.id)
    session.delete(gone)


def _read_values(form: SystemForm, stock: str) -> dict[str, object]:
    return {
        "label": form.label,
        "digit": form.digit,
        "sleeve_od_in": form.sleeve_od.value,
        "bore_in": form.bore.value,
        **towards_parts("lift", form.lift.value),
        **towards_parts("oval", form.inside_oval.value),
        "inner_ods": [str(d) for d in form.inner_diameters],
        "sleeve_length_in": form.sleeve_length.value,
        "lock_depth_in": form.lock_depth.value,
        "inner_length_in": form.inner_length.value,
        "locks": form.locks,
        "notch_deg": form.notch.value,
        "wide_tab_deg": form.wide_tab.value,
        "height_set_by": form.height_set_by,
        "notes": form.notes,
        "typed": typed_texts(form) | {"inner_ods": form.inner_ods, "stock": stock},
    }


def towards_parts(name: str, value: Towards | None) -> dict[str, Fraction | None]:
    """Returns a lift, or an oval, by the names of its columns: None of size 0."""
    is_there = value is not None and value.size_in > 0
    return {
        f"{name}_in": value.size_in if value and is_there else None,
        f"{name}_deg": value.deg if value and is_there else None,
    }


def _check(session: Session, form: SystemForm, own_id: int | None) -> None:
    other = session.scalar(select(InsertSystem).where(InsertSystem.label == form.label))
    if other and other.id != own_id:
        raise InvalidError.at("label", "There is a system of that label already.")
    if form.height_set_by == "slug" and form.inner_diameters:
        raise InvalidError.at("inner_ods", "A plain slug takes no inner.")
    sleeve, bore = form.sleeve_od.value, form.bore.value
    if form.digit == "thumb":
        for name in ("lift", "inside_oval"):
            if getattr(form, name).value:
                raise InvalidError.at(
                    name, "This belongs to a finger's insert. A thumb hole has its own oval in each fit."
                )
    if form.digit == "thumb" and bore is None:
        raise InvalidError.at("bore", "A thumb system needs the bore its sleeve is glued into.")
    if sleeve and bore and sleeve > bore:
        raise InvalidError.at("sleeve_od", "The sleeve is wider than its bore.")
    widest = sleeve or bore
    if widest and any(d > widest for d in form.inner_diameters):
        raise InvalidError.at("inner_ods", "An inner is wider than the sleeve it locks into.")
