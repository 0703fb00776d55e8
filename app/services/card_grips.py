"""The grip of a card, solved from the card's own numbers as a fit of ours would be: to be drawn, never stored."""

from app.calculation.grip import SolvedGrip
from app.cards.contents import ZERO, Card, Fit, Hole
from app.closed_sets import DIGITS, Digit
from app.errors import InvalidError
from app.models import Fit as OurFit
from app.models import FitHole, InsertSystem
from app.services import card_texts, grips
from app.services.card_texts import UNKNOWN


def solve_grip(card: Card) -> SolvedGrip | None:
    """Returns a card's grip in a ball of usual size; None without a fit, or where not all is known that it needs."""
    if card.fit is None:
        return None
    fit = _to_ours(card, card_texts.hold_fit(card.fit))
    if not grips.can_solve(fit):
        return None
    try:
        return grips.solve(fit, _find_sleeve(card))
    except InvalidError:  # numbers of which no grip can be made
        return None


def _to_ours(card: Card, fit: Fit) -> OurFit:
    """Returns a fit that is in no session, without hardware: a card says each hole's own bore and lift."""
    return OurFit(
        hand=card.hand,
        grip_holes=fit.grip_holes,
        span_middle_in=fit.middle_span_in,
        span_ring_in=fit.ring_span_in,
        span_edges=fit.span_edges,
        bridge_in=fit.bridge_in,
        bridge_edges=fit.bridge_edges or "",
        typed={"thumb_offset": UNKNOWN} if fit.thumb and fit.thumb.offset_in is None else {},
        holes=[_to_hole(digit, fit.holes.get(digit)) for digit in DIGITS],
    )


def _to_hole(digit: Digit, hole: Hole | None) -> FitHole:
    if hole is None:
        return FitHole(digit=digit)
    cut_in = hole.cut_in if hole.cut_in is not None or hole.hardware is not None else hole.size_in
    return FitHole(
        digit=digit,
        hole_in=hole.size_in,
        cut_in=cut_in,
        oval_in=hole.oval_in,
        oval_deg=hole.oval_deg,
        forward_in=hole.forward_in,
        right_in=hole.right_in,
        depth_in=hole.depth_in,
        offset_in=hole.offset_in,
        lift_in=hole.lift_in or ZERO,
        lift_deg=hole.lift_deg,
    )


def _find_sleeve(card: Card) -> InsertSystem | None:
    """Returns the outer sleeve of a card's thumb hardware as ours would be."""
    if card.fit is None or card.fit.hardware is None:
        return None
    one = card.hardware[card.fit.hardware]
    return InsertSystem(digit="thumb", sleeve_od_in=one.sleeve_in or None, bore_in=one.bore_in, typed={})
