"""Converts fits for the calculation: lists missing and unknown measures, and solves the grip in a ball."""

from dataclasses import replace
from fractions import Fraction

from app.calculation.errors import CannotBuildError
from app.calculation.grip import Finger, FingerName, Grip, SolvedGrip, Thumb
from app.errors import FieldError, InvalidError
from app.measures.half_pairs import tells_unknown
from app.measures.lengths import is_unknown
from app.models import Fit, FitHole, InsertSystem
from app.models.plans import FingerSpans, KeptSpans
from app.services import differences
from app.services.work_outs import ASSUMED_FINGER_DEPTH_IN, ASSUMED_THUMB_DEPTH_IN, solve_once

FINGERS: tuple[FingerName, ...] = ("middle", "ring")
USUAL_CIRCUMFERENCE_IN = 27.0  # common practice, no source
_FORM_FIELD = {
    "middle.span_in": "spans",
    "ring.span_in": "spans",
    "middle.reach_in": "spans",
    "ring.reach_in": "spans",
    "thumb.offset_in": "thumb_offset",
    "bridge_in": "bridge",
    "sleeve_od_in": "system_id",
    "thumb.hole_in": "thumb_hole",
    "middle.cut_in": "middle_cut",
    "ring.cut_in": "ring_cut",
    "middle.hole_in": "middle_hole",
    "ring.hole_in": "ring_hole",
    "middle.lift_in": "middle_lift",
    "ring.lift_in": "ring_lift",
}


def _list_wanted(of: Fit) -> list[tuple[str, str, Fraction | None]]:
    """Returns (words, form field, value) of everything that a grip is solved from."""
    spans = [of.span_in(finger) for finger in of.fingers]
    said = "reaches" if of.is_thumbless else "spans" if len(spans) > 1 else "span"
    wanted = [(said, "spans", None if None in spans else spans[0])]
    if len(spans) > 1:
        wanted.append(("bridge", "bridge", of.bridge_in))
    for digit in of.digits:
        hole = of.hole(digit)
        wanted.append((f"{digit} hole", f"{digit}_hole", hole.hole_in))
        wanted.append((f"{digit} pitch", f"{digit}_pitch", hole.forward_in))
        if digit != "thumb" and _has_insert(hole):
            wanted.append((_name_bore(digit), f"{digit}_cut", hole.cut_in))
    return wanted


def _has_insert(hole: FitHole) -> bool:
    """Whether a finger hole has an insert beyond doubt; without one it is bored round, as wide as it is finished."""
    return bool(hole.system_id or hole.oval_in or hole.lift_in)


def _name_bore(finger: str) -> str:
    return f"{finger} bore for the insert"


def list_missing(checked: Fit) -> list[str]:
    """Returns the missing measures in words; a measure typed as unknown is not missing, but unknown hardware is."""
    return _list_missing_measures(checked) + list_unknown_hardware(checked)


def _list_missing_measures(checked: Fit) -> list[str]:
    typed = checked.typed
    return [w for w, field, value in _list_wanted(checked) if value is None and not tells_unknown(typed.get(field, ""))]


def list_unknown_hardware(of: Fit) -> list[str]:
    """Returns the hardware that a sheet or card has and nobody knows: it is there, and which it is must be chosen."""
    held = {"system_id": ("thumb insert", of.system_id)}
    held |= {f"{digit}_insert": (f"{digit} insert", of.hole(digit).system_id) for digit in of.fingers}
    return [words for name, (words, number) in held.items() if number is None and tells_unknown(of.typed.get(name, ""))]


def list_unknown(checked: Fit) -> list[str]:
    """Returns the measures typed as unknown, in words."""
    typed = checked.typed
    wanted = [
        *_list_wanted(checked),
        *(
            (_name_bore(d), f"{d}_cut", checked.hole(d).cut_in)
            for d in checked.fingers
            if not _has_insert(checked.hole(d))
        ),
        ("how far the thumb is off the centre line", "thumb_offset", checked.hole("thumb").offset_in),
    ]
    said = [w for w, field, value in wanted if value is None and tells_unknown(typed.get(field, ""))]
    edges = {"edges of the spans": checked.span_edges, "edges of the bridge": checked.bridge_edges}
    return said + [words for words, value in edges.items() if value == "unknown"]


def can_solve(checked: Fit) -> bool:
    """Whether everything is known that a grip is solved from."""
    return not _list_missing_measures(checked) and not list_unknown(checked)


def build_grip(
    of: Fit,
    circumference_in: float = USUAL_CIRCUMFERENCE_IN,
    sleeve_od_in: float | None = None,
    thumb_depth_in: float = ASSUMED_THUMB_DEPTH_IN,
    sleeve_pitch_in: tuple[float, float] | None = None,
) -> Grip:
    """Returns a complete fit for the calculation, in one ball, with one sleeve or none."""
    fingers = {name: build_finger(of.hole(name), _to_float(of.span_in(name))) for name in of.fingers}
    return Grip(
        circumference_in=circumference_in,
        hand="left" if of.hand == "left" else "right",
        thumb=_build_thumb(of.hole("thumb"), thumb_depth_in) if "thumb" in of.digits else None,
        middle=fingers.get("middle"),
        ring=fingers.get("ring"),
        bridge_in=_to_float(of.bridge_in) if len(fingers) > 1 else None,
        span_edges=of.span_edges,  # type: ignore[arg-type]  # "unknown" is kept out by can_solve
        bridge_edges=of.bridge_edges or "cut",  # type: ignore[arg-type]
        sleeve_od_in=sleeve_od_in,
        sleeve_pitch_in=sleeve_pitch_in,
    )


def keep_finished(of: Fit, asked: Grip) -> tuple[Grip, KeptSpans | None]:
    """Converts a fit typed by its own hardware's sleeve to another sleeve: (grip, kept spans).

    If the two sleeves differ in size or axis, the finished spans of the fit are kept, as in a transfer. The second
    value holds them beside the typed sleeve-to-cut spans, or is None if nothing moves. Raises InvalidError for a
    sleeve of unknown size.
    """
    own_od = get_sleeve_od_in(of.system)
    thumb = asked.thumb
    along_thumb = thumb is None or asked.sleeve_pitch_in in {None, (thumb.forward_in, thumb.right_in)}
    if of.span_edges != "sleeve" or (own_od == asked.sleeve_od_in and along_thumb):
        return asked, None
    try:
        own = solve_once(replace(asked, sleeve_od_in=own_od, sleeve_pitch_in=None))
    except CannotBuildError as error:
        raise InvalidError.at("fit_id", f"Fit {of.letter} was typed by a sleeve: {error.message}.") from None
    finished = {name: spans.finished_in for name, spans in own.spans.items()}
    assert own_od is not None  # spans to a sleeve of no known size were refused above
    typed = FingerSpans(*(asked.fingers[name].span_in if name in finished else None for name in FINGERS))
    told = FingerSpans(finished.get("middle"), finished.get("ring"))
    kept = KeptSpans(differences.format_label(of), own_od, typed, told)
    fingers = {name: replace(finger, span_in=finished[name]) for name, finger in asked.fingers.items()}
    asked = replace(asked, middle=fingers.get("middle"), ring=fingers.get("ring"), span_edges="finished")
    return asked, kept


def _build_thumb(hole: FitHole, depth_in: float) -> Thumb:
    return Thumb(
        hole_in=_to_float(hole.hole_in),
        forward_in=_to_float(hole.forward_in),
        right_in=_to_float(hole.right_in),
        oval_in=_to_float(hole.oval_in),
        oval_deg=_to_float(hole.oval_deg),
        depth_in=depth_in,
        offset_in=_to_float(hole.offset_in),
    )


def build_finger(hole: FitHole, span_in: float = 0.0) -> Finger:
    """Returns a finger hole for the calculation, without its insert where none is needed."""
    return Finger(
        span_in=span_in,
        cut_in=_to_float(hole.cut_in or hole.hole_in),
        hole_in=_to_float(hole.hole_in),
        forward_in=_to_float(hole.forward_in),
        right_in=_to_float(hole.right_in),
        depth_in=_to_float(hole.depth_in) or ASSUMED_FINGER_DEPTH_IN,
        lift_in=_to_float(hole.lift_in),
        lift_deg=_to_float(hole.lift_deg),
        oval_in=_to_float(hole.oval_in),
        oval_deg=_to_float(hole.oval_deg),
    )


def read_hole_depths(of: Fit) -> dict[str, tuple[float, bool]]:
    """Returns (depth in inches, is assumed) of each hole; without a thumb whose depth the hardware decides."""
    known: dict[str, Fraction | None] = {digit: of.hole(digit).depth_in for digit in of.fingers}
    deep = {d: (_to_float(given) or ASSUMED_FINGER_DEPTH_IN, not given) for d, given in known.items()}
    return deep if of.system_id or of.is_thumbless else deep | {"thumb": (ASSUMED_THUMB_DEPTH_IN, True)}


def _to_float(value: Fraction | None) -> float:
    return float(value or 0)


def is_sleeve_unknown(system: InsertSystem | None) -> bool:
    """Whether the hardware has an outer sleeve of unknown size; without a size nor that, it has no sleeve."""
    return system is not None and system.sleeve_od_in is None and is_unknown((system.typed or {}).get("sleeve_od", ""))


def require_known_sleeve(system: InsertSystem | None) -> None:
    """Raises InvalidError for hardware whose sleeve has an unknown size: it would count as hardware without one."""
    if system is not None and is_sleeve_unknown(system):
        message = (
            f"The outside of the sleeve of {system.label} is unknown: measure it and add it to the hardware first."
        )
        raise InvalidError.at("system_id", message)


def get_sleeve_od_in(system: InsertSystem | None) -> float | None:
    return float(system.sleeve_od_in) if system and system.sleeve_od_in else None


def solve(of: Fit, system: InsertSystem | None, circumference_in: float = USUAL_CIRCUMFERENCE_IN) -> SolvedGrip:
    """Solves the fit in a ball with this hardware; raises InvalidError at the form field."""
    try:
        return solve_once(build_grip(of, circumference_in, get_sleeve_od_in(system)))
    except CannotBuildError as error:
        raise to_invalid(error) from None


def to_invalid(error: CannotBuildError) -> InvalidError:
    """Converts an error of the calculation to one at the form field that has to change."""
    field = _FORM_FIELD.get(error.field, "")
    message = error.message[0].upper() + error.message[1:] + "."
    return InvalidError(message, {field: FieldError(message)})
