"""The card in words: what its code says, for somebody without a reader."""

from collections.abc import Iterator
from fractions import Fraction

from app.cards.contents import Bore, Card, Depth, Fit, Hardware, Hole, Inner
from app.closed_sets import (
    BRIDGE_EDGES_WORDS,
    DATUM_WORDS,
    GRIP_HOLES_WORDS,
    HAND_WORDS,
    HEIGHT_WORDS,
    SPAN_EDGES_WORDS,
)
from app.measures.wording import clock_words, exact, letter_of, own_number, palm_side

Line = tuple[str, str]
UNKNOWN = "unknown"
FRAME = (
    "Inches. Directions as seen from outside the ball with the fingers up; clock times with the fingers at 12. "
    "Forward: the bottom of the hole aims towards the palm."
)


def list_words(card: Card) -> list[tuple[str, list[Line]]]:
    """Returns a card in words: (heading, its lines), each line a label and what is known; unknown is said."""
    parts: list[tuple[str, list[Line]]] = [("Card", list(_tell_card(card)))]
    if card.fit:
        parts.append((f"Fit {letter_of(card.fit.revision)}", list(_tell_fit(card, card.fit))))
    parts += [(f"Hardware {n}", list(_tell_hardware(one))) for n, one in enumerate(card.hardware, 1)]
    for n, inner in enumerate(card.inners, 1):
        name = f"Inner {n}: {inner.label}" if inner.label else f"Inner {n}"
        parts.append((name, [*_tell_inner(inner), *_tell_bore(card, card.bores[inner.bore])]))
    parts += [(f"Depth of {card.shops[one.shop]}", list(_tell_depth(one))) for one in card.depths]
    return parts


def _tell_card(card: Card) -> Iterator[Line]:
    yield "bowler", f"{card.bowler}, {HAND_WORDS[card.hand]}"
    yield "made by", f"{card.maker}, revision {card.revision} of {card.made_on.isoformat()}"
    yield "how to read", FRAME


def _tell_fit(card: Card, fit: Fit) -> Iterator[Line]:
    yield "in force since", fit.in_force_on.isoformat()
    yield "grip", f"{GRIP_HOLES_WORDS[fit.grip_holes]}, {fit.style}"
    kind = "reach" if fit.thumb is None else "span"
    for finger, span in (("middle", fit.middle_span_in), ("ring", fit.ring_span_in)):
        if finger in fit.holes:
            edges = f" {SPAN_EDGES_WORDS[fit.span_edges]}" if fit.span_edges != "unknown" else ", edges unknown"
            yield f"{kind} to {finger}", UNKNOWN if span is None else length_words(span) + edges
    if fit.bridge_edges:
        edges = "edges unknown" if fit.bridge_edges == "unknown" else BRIDGE_EDGES_WORDS[fit.bridge_edges]
        yield "bridge", UNKNOWN if fit.bridge_in is None else f"{length_words(fit.bridge_in)} {edges}"
    if fit.hardware is not None:
        yield "thumb hardware", f"hardware {fit.hardware + 1}"
    for digit, hole in fit.holes.items():
        for label, words in _tell_hole(hole, card.hand, digit):
            yield f"{digit} {label}", words


def _tell_hole(hole: Hole, hand: str, digit: str) -> Iterator[Line]:
    yield "hole", oval_words(hole.size_in, hole.oval_in, hole.oval_deg)
    yield "pitch", pitch_words(hole.forward_in, hole.right_in, hand, "thumb" if digit == "thumb" else "finger")
    if digit == "thumb":
        if hole.offset_in != 0:
            yield "off the centre line", _tell_side(hole.offset_in)
        return
    yield "bore for its insert", _tell(hole.cut_in)
    if hole.hardware is not None:
        yield "insert", f"hardware {hole.hardware + 1}"
    if hole.lift_in != 0:
        yield "insert off its axis", _tell_towards(hole.lift_in, hole.lift_deg)
    if hole.depth_in is not None:
        yield "depth", length_words(hole.depth_in)


def _tell_hardware(one: Hardware) -> Iterator[Line]:
    is_thumb = one.digit == "thumb"
    yield "what", "outer sleeve with inners, for the thumb" if is_thumb else "insert for a finger"
    if is_thumb:
        yield "outside of the sleeve", "none" if one.sleeve_in == 0 else _tell(one.sleeve_in)
    yield "bore", _tell(one.bore_in)
    yield "outsides of its inners" if is_thumb else "insides", ", ".join(map(length_words, one.inside_in)) or UNKNOWN
    for label, size in (
        ("length of the sleeve", one.sleeve_length_in),
        ("depth of the lock", one.lock_depth_in),
        ("length of the inner", one.inner_length_in),
    ):
        if size is not None:
            yield label, length_words(size)
    if one.lift_in != 0:
        yield "inside off its axis", _tell_towards(one.lift_in, one.lift_deg)
    if one.oval_in != 0:
        yield "inside wider by", _tell_towards(one.oval_in, one.oval_deg)
    if is_thumb:
        yield "locks", one.locks
        yield "notch usually at", _tell_clock(one.notch_deg)
        yield "wide tab at", _tell_clock(one.wide_tab_deg)
        yield "height set by", HEIGHT_WORDS[one.height_set_by]


def _tell_inner(inner: Inner) -> Iterator[Line]:
    """In its own lock frame: as it stood in the bore it was trimmed in."""
    yield "hardware", f"hardware {inner.hardware + 1}"
    yield "outside", _tell(inner.outside_in)
    yield "hole", oval_words(inner.hole_in, inner.oval_in, inner.oval_deg)
    tilt = pitch_words(inner.forward_in, inner.right_in)
    yield "tilt of its hole in it", f"{tilt}, or never asked" if inner.is_tilt_unsaid else tilt
    for place, height in zip((12, 3, 6, 9), inner.heights_in, strict=False):
        yield f"rim above its seat at {place} o'clock", length_words(height)


def _tell_bore(card: Card, bore: Bore) -> Iterator[Line]:
    yield "trimmed in a bore of", card.shops[bore.shop]
    yield "ball around", _tell(bore.circumference_in)
    yield "bore", length_words(bore.bore_in)
    depth = UNKNOWN if bore.depth_in is None else f"{length_words(bore.depth_in)}, {DATUM_WORDS[bore.datum]}"
    yield "depth", depth if bore.depth_u_in is None else f"{depth}, standard doubt {length_words(bore.depth_u_in)}"
    if bore.shim_in != 0:
        yield "shim under the sleeve", _tell(bore.shim_in)
    pitch = pitch_words(bore.forward_in, bore.right_in, bore.hand or "", "thumb")
    yield "pitch of the bore", f"{pitch}, or never asked" if bore.is_pitch_unsaid else pitch
    notch = _tell_clock(bore.notch_deg)
    yield "notch at", f"{notch}, or never asked" if bore.is_notch_unsaid else notch
    yield "bored for", HAND_WORDS[bore.hand] if bore.hand else "a hand unknown"


def _tell_depth(one: Depth) -> Iterator[Line]:
    yield "hardware", f"hardware {one.hardware + 1}"
    yield "mean", f"{length_words(one.mean_in)}, {DATUM_WORDS[one.datum]}"
    yield "standard doubt of the mean", length_words(one.u_in)
    yield "scatter from ball to ball", length_words(one.scatter_in)
    yield "from", f"{one.n} observations of {one.balls} balls, as of {one.as_of.isoformat()}"


# Measures -------------------------------------------------------------------------------------------------------------


def length_words(value: Fraction) -> str:
    """`3 47/64`, `2.7506`, `5 mm`: a length that reads back as exactly this value."""
    said = own_number(value)
    if 64 % value.denominator and said.endswith(" mm") and Fraction(said[:-3]) * 10 == value * 254:
        return said
    return exact(value)


def pitch_words(forward: Fraction | None, right: Fraction | None, hand: str = "", hole: str = "") -> str:
    """`1/4 reverse, 1/8 right (towards the palm)`; each part may be unknown by itself."""
    if forward == 0 and right == 0:
        return "straight"
    ahead = UNKNOWN if forward is None else forward_words(forward)
    aside = _tell_side(right)
    if right and hole == "thumb" and hand:
        is_inwards = palm_side(hand) == ("right" if right > 0 else "left")
        aside += " (towards the palm)" if is_inwards else " (away from the palm)"
    return f"{ahead}, {aside}"


def forward_words(forward: Fraction) -> str:
    """`1/4 reverse`, as people and our forms read it."""
    return f"{length_words(abs(forward))} {'forward' if forward > 0 else 'reverse'}" if forward else "0"


def side_words(right: Fraction) -> str:
    """`1/8 left`, as people and our forms read it."""
    return f"{length_words(abs(right))} {'right' if right > 0 else 'left'}" if right else "0"


def _tell_side(right: Fraction | None) -> str:
    if not right:
        return UNKNOWN if right is None else "0 sideways"
    return side_words(right)


def _tell(value: Fraction | None) -> str:
    return UNKNOWN if value is None else length_words(value)


def _tell_clock(degrees: Fraction | None) -> str:
    return UNKNOWN if degrees is None else clock_words(degrees)


def _tell_towards(size: Fraction | None, degrees: Fraction | None) -> str:
    return UNKNOWN if size is None else f"{length_words(size)} towards {_tell_clock(degrees)}"


def oval_words(size: Fraction | None, wider: Fraction | None, degrees: Fraction | None) -> str:
    """`15/16 hole, 1/16 wider towards 1:30 (45°)`; each part may be unknown by itself."""
    if size is None:
        return UNKNOWN
    if wider == 0:
        return f"{length_words(size)} round"
    if wider is None:
        return f"{length_words(size)}, oval unknown"
    return f"{length_words(size)} hole, {length_words(wider)} wider towards {_tell_clock(degrees)}"


# Small paper ----------------------------------------------------------------------------------------------------------


def list_short_inners(card: Card) -> list[Line]:
    """Returns inners as a wallet card has room for them; a bore in which several were trimmed is told once."""
    lines = []
    for place, bore in enumerate(card.bores):
        of = [(n, inner) for n, inner in enumerate(card.inners, 1) if inner.bore == place]
        told = [(inner.label or f"Inner {n}", _tell_shortly(inner)) for n, inner in of]
        if len(told) == 1:
            told = [(told[0][0], f"{told[0][1]} Trimmed in a {_tell_bore_shortly(card, bore)}")]
        elif told:
            told.append(("Both trimmed in" if len(told) == 2 else "These trimmed in", _tell_bore_shortly(card, bore)))
        lines += told
    return lines


def _tell_shortly(inner: Inner) -> str:
    hole = oval_words(inner.hole_in, inner.oval_in, inner.oval_deg)
    told = f"{_tell(inner.outside_in)} outside; {hole}; in it {pitch_words(inner.forward_in, inner.right_in)}."
    if inner.heights_in:
        told += f" Rim above its seat at 12, 3, 6, 9: {', '.join(map(length_words, inner.heights_in))}."
    return told


def _tell_bore_shortly(card: Card, bore: Bore) -> str:
    whose = f" of {card.shops[bore.shop]}" if bore.shop else ""
    depth = UNKNOWN if bore.depth_in is None else f"{length_words(bore.depth_in)} {DATUM_WORDS[bore.datum]}"
    return (
        f"bore {length_words(bore.bore_in)}{whose}: deep {depth}, {pitch_words(bore.forward_in, bore.right_in)}, "
        f"notch {_tell_clock(bore.notch_deg)}, ball {_tell(bore.circumference_in)}."
    )


def list_short_depths(card: Card) -> list[Line]:
    lines = []
    for one in card.depths:
        told = f"{length_words(one.mean_in)} {DATUM_WORDS[one.datum]}, ± {length_words(one.u_in)}"
        scatter = f"scatter {length_words(one.scatter_in)}, {one.n} readings of {one.balls} balls."
        lines.append((f"{card.shops[one.shop]} bores", f"{told}, {scatter}"))
    return lines
