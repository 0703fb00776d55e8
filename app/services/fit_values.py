"""Reads a fit's form into the values of its columns, those of a finger's hardware included."""

from fractions import Fraction

from sqlalchemy.orm import Session

from app.errors import InvalidError
from app.measures.ovals import Oval
from app.measures.pairs import SpanPair
from app.measures.pitches import Pitch
from app.models import Fit, InsertSystem
from app.schemas.fits import UNKNOWN, FitSpecification
from app.schemas.forms import typed_texts
from app.services import grips, systems

_HoleValues = dict[str, Fraction | int | None]


def fill(session: Session, made: Fit, form: FitSpecification) -> None:
    """Sets a fit and its holes to the values of a form; raises InvalidError as `read_values`."""
    values, holes = read_values(session, form)
    for name, value in values.items():
        setattr(made, name, value)
    for digit, numbers in holes.items():
        for name, value in numbers.items():
            setattr(made.hole(digit), name, value)


def read_values(session: Session, form: FitSpecification) -> tuple[dict[str, object], dict[str, _HoleValues]]:
    """Returns (values of the fit, values of each hole) from a form; raises InvalidError where two of them disagree."""
    spans: SpanPair | None = form.spans.value
    if spans and spans.edges and form.span_edges not in {"unknown", spans.edges}:
        raise InvalidError.at("span_edges", f"The spans say “{spans.edges}” and this field says otherwise.")
    typed = typed_texts(form) | dict.fromkeys(form.unknown_hardware, UNKNOWN)
    values: dict[str, object] = {
        "style": form.style,
        "grip_holes": form.grip_holes,
        "reason": form.reason,
        "span_middle_in": spans.middle_in if spans else None,
        "span_ring_in": spans.ring_in if spans else None,
        "span_edges": spans.edges if spans and spans.edges else form.span_edges,
        "bridge_in": form.bridge.value,
        "bridge_edges": "" if "bridge" in form.senseless else form.bridge_edges,
        "system_id": form.system_id,
        "hand_notes": form.hand_notes,
        "clinician_notes": form.clinician_notes,
        "typed": {name: text for name, text in typed.items() if name not in form.senseless},
    }
    thumb = _read_oval_values(form.thumb_hole.value) | {"offset_in": form.thumb_offset.value or None}
    holes: dict[str, _HoleValues] = {"thumb": thumb | _read_pitch_values(form.thumb_pitch.value)}
    for digit in grips.FINGERS:
        holes[digit] = _read_oval_values(getattr(form, f"{digit}_hole").value) | {
            "cut_in": getattr(form, f"{digit}_cut").value,
            "depth_in": None if f"{digit}_depth" in form.senseless else getattr(form, f"{digit}_depth").value,
            "system_id": None if f"{digit}_insert" in form.senseless else getattr(form, f"{digit}_insert"),
            **systems.towards_parts("lift", getattr(form, f"{digit}_lift").value),
            **_read_pitch_values(getattr(form, f"{digit}_pitch").value),
        }
    _take_from_inserts(session, form, holes)
    return values, holes


def _read_oval_values(oval: Oval | None) -> _HoleValues:
    """Returns a hole by the names of its columns; a round one has no oval, and the thumb's is 0."""
    return {
        "hole_in": oval.hole_in if oval else None,
        "oval_in": oval.oval_in if oval else None,
        "oval_deg": oval.oval_deg if oval else None,
    }


def _take_from_inserts(session: Session, form: FitSpecification, holes: dict[str, _HoleValues]) -> None:
    """Fills in what a finger's hardware says and the form leaves open: bore, oval and lift of its inside.

    Raises InvalidError for hardware that is not known, or not for a finger.
    """
    for digit in grips.FINGERS:
        own = holes[digit]
        if own["system_id"] is None:
            continue
        insert = session.get(InsertSystem, own["system_id"])
        if insert is None or insert.digit != "finger":
            raise InvalidError.at(f"{digit}_insert", "That is no insert for a finger. Choose one, or none.")
        if getattr(form, f"{digit}_cut").state == "absent":
            own["cut_in"] = insert.bore_in
        if getattr(form, f"{digit}_lift").text == "":
            own |= {"lift_in": insert.lift_in, "lift_deg": insert.lift_deg}
        if not own["oval_in"]:
            own |= {"oval_in": insert.oval_in, "oval_deg": insert.oval_deg}


def _read_pitch_values(pitch: Pitch | None) -> _HoleValues:
    return {"forward_in": pitch.forward_in if pitch else None, "right_in": pitch.right_in if pitch else None}
