"""What a card says as texts that our forms read back as exactly the same; what none can hold is refused there."""

from collections.abc import Iterable, Iterator
from dataclasses import replace
from fractions import Fraction

from app.cards.contents import ZERO, Bore, Fit, Hardware, Hole, Inner
from app.cards.words import forward_words, length_words, oval_words, pitch_words, side_words
from app.measures.wording import exact

UNKNOWN = "unknown"
Texts = dict[str, str]


def hold_hole(hole: Hole) -> Hole:
    """Returns a hole as our records hold one: of an oval, a lift or a pitch that is known in part, nothing."""
    if hole.size_in is None or _is_half_known(hole):
        hole = replace(hole, size_in=None, oval_in=None, oval_deg=None)
    if None in {hole.forward_in, hole.right_in}:
        hole = replace(hole, forward_in=None, right_in=None)
    hole = replace(hole, lift_in=ZERO) if _is_lift_half_known(hole) else hole
    return replace(
        hole,
        oval_deg=hole.oval_deg if hole.oval_in else None,
        lift_deg=hole.lift_deg if hole.lift_in else None,
    )


def hold_hardware(one: Hardware, bores: Iterable[Bore] = ()) -> Hardware:
    """Returns hardware as our records hold it; a bore that it does not say is the one in which all of it was glued."""
    glued = {bore.bore_in for bore in bores}
    return replace(
        one,
        sleeve_in=one.sleeve_in or (ZERO if one.height_set_by == "slug" else None),
        bore_in=next(iter(glued)) if one.bore_in is None and len(glued) == 1 else one.bore_in,
        oval_deg=one.oval_deg if one.oval_in else None,
        lift_deg=one.lift_deg if one.lift_in else None,
    )


def hold_fit(fit: Fit) -> Fit:
    """Returns a fit as our records hold one."""
    thumb, middle, ring = (hole and hold_hole(hole) for hole in (fit.thumb, fit.middle, fit.ring))
    return replace(fit, thumb=thumb, middle=middle, ring=ring)


def hold_inner(inner: Inner) -> Inner:
    """Returns an inner as our records hold one."""
    if _is_half_known(inner):
        inner = replace(inner, hole_in=None, oval_in=None, oval_deg=None)
    return replace(inner, oval_in=None, oval_deg=None) if inner.hole_in is None else inner


def _is_half_known(of: Hole | Inner) -> bool:
    """Whether a hole has a size, and how much or which way it is wider is unknown."""
    size = of.size_in if isinstance(of, Hole) else of.hole_in
    return size is not None and (of.oval_in is None or bool(of.oval_in and of.oval_deg is None))


def _is_lift_half_known(hole: Hole) -> bool:
    return hole.lift_in is None or bool(hole.lift_in and hole.lift_deg is None)


def tell_more(of: Fit | Inner) -> str:
    """Returns in words what a card knows of holes and pitches that `hold_…` leaves out, to be kept as a note."""
    lines = list(_list_more(of))
    return f"The card knows in part: {'; '.join(lines)}." if lines else ""


def _list_more(of: Fit | Inner) -> Iterator[str]:
    if isinstance(of, Inner):
        if _is_half_known(of):
            yield f"hole {oval_words(of.hole_in, of.oval_in, of.oval_deg)}"
        return
    for digit, hole in of.holes.items():
        if hole.size_in is None and hole.oval_in:
            yield f"{digit} hole wider by {write_towards(hole.oval_in, hole.oval_deg)}"
        if hole.lift_in and _is_lift_half_known(hole):
            yield f"{digit} insert off its axis by {write_towards(hole.lift_in, hole.lift_deg)}"
        if _is_half_known(hole):
            yield f"{digit} hole {oval_words(hole.size_in, hole.oval_in, hole.oval_deg)}"
        if (hole.forward_in is None) != (hole.right_in is None):
            yield f"{digit} pitch {pitch_words(hole.forward_in, hole.right_in)}"


def write_fit(fit: Fit, hand: str, reason: str, systems: list[int]) -> Texts:
    """Returns a fit as its form is typed; `systems` are our hardware in the order of the card's, 0 if left out."""
    texts = {
        "hand": hand,
        "style": fit.style,
        "grip_holes": fit.grip_holes,
        "reason": reason,
        "first_finger": "middle",
        "spans": _write_spans(fit),
        "span_edges": fit.span_edges,
        "bridge_edges": fit.bridge_edges or "",
        "system_id": _write_system(fit.hardware, systems),
        "hand_notes": tell_more(fit),
    }
    if fit.bridge_edges:
        texts["bridge"] = _write_size(fit.bridge_in)
    for digit, hole in hold_fit(fit).holes.items():
        texts |= {f"{digit}_{part}": text for part, text in _write_hole(hole, digit == "thumb", systems).items()}
    return texts


def _write_spans(fit: Fit) -> str:
    spans = {"middle": fit.middle_span_in, "ring": fit.ring_span_in}
    known = {finger: span for finger, span in spans.items() if finger in fit.holes}
    if all(span is None for span in known.values()):
        return UNKNOWN
    if len(known) == 1:
        return "".join(_write_size(span) for span in known.values())
    return ", ".join(f"{finger} {_write_size(span)}" for finger, span in known.items())


def _write_hole(hole: Hole, is_thumb: bool, systems: list[int]) -> Texts:
    texts = {
        "hole": write_oval(hole.size_in, hole.oval_in, hole.oval_deg),
        "pitch": write_pitch(hole.forward_in, hole.right_in),
    }
    if is_thumb:
        return texts | {"offset": UNKNOWN if hole.offset_in is None else side_words(hole.offset_in)}
    return texts | {
        "insert": _write_system(hole.hardware, systems),
        "cut": _write_size(hole.cut_in),
        "lift": write_towards(hole.lift_in, hole.lift_deg),
        "depth": "" if hole.depth_in is None else length_words(hole.depth_in),
    }


def _write_system(place: int | None, systems: list[int]) -> str:
    return "" if place is None else str(systems[place] or UNKNOWN)


def write_hardware(one: Hardware, label: str) -> Texts:
    """Returns hardware as its form is typed."""
    return {
        "label": label,
        "digit": one.digit,
        "sleeve_od": "" if one.sleeve_in == 0 else _write_size(one.sleeve_in),
        "bore": _write_size(one.bore_in),
        "lift": "" if one.lift_in == 0 else write_towards(one.lift_in, one.lift_deg),
        "inside_oval": "" if one.oval_in == 0 else write_towards(one.oval_in, one.oval_deg),
        "inner_ods": ", ".join(map(length_words, one.inside_in)),
        "sleeve_length": _write_size(one.sleeve_length_in),
        "lock_depth": _write_size(one.lock_depth_in),
        "inner_length": _write_size(one.inner_length_in),
        "locks": one.locks,
        "notch": write_clock(one.notch_deg),
        "wide_tab": write_clock(one.wide_tab_deg),
        "height_set_by": one.height_set_by,
    }


def _write_size(value: Fraction | None) -> str:
    return UNKNOWN if value is None else length_words(value)


def write_clock(degrees: Fraction | None) -> str:
    return UNKNOWN if degrees is None else f"{exact(degrees)}°"


def write_towards(size: Fraction | None, degrees: Fraction | None) -> str:
    if not size:
        return UNKNOWN if size is None else "0"
    return f"{length_words(size)} @ {write_clock(degrees)}"


def write_oval(size: Fraction | None, wider: Fraction | None, degrees: Fraction | None) -> str:
    if size is None or wider is None or (wider and degrees is None):
        return UNKNOWN
    return length_words(size) + (f" + {length_words(wider)} @ {write_clock(degrees)}" if wider else "")


def write_pitch(forward: Fraction | None, right: Fraction | None) -> str:
    if forward is None or right is None:
        return UNKNOWN
    return f"{forward_words(forward)}, {side_words(right)}"
