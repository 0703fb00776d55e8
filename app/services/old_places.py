"""Where an old hole is, from the mark on the ball or by its span to a known hole, and as what it is counted."""

import math
from fractions import Fraction

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.calculation.errors import CannotBuildError
from app.calculation.holes import OldHole as OldHoleShape
from app.calculation.old_holes import place_by_span
from app.errors import InvalidError
from app.measures.reading import Reading
from app.measures.wording import inches
from app.models import Ball, OldHole
from app.schemas.forms import pitch_parts
from app.schemas.old_holes import OldHoleForm
from app.services.work_outs import ASSUMED_FINGER_DEPTH_IN, ASSUMED_THUMB_DEPTH_IN

# ASSUMED where the size of an old hole is unknown: as wide as such holes mostly are bored; common practice, no source.
ASSUMED_CUT_IN = {"thumb": 1.5, "finger": 1.0}
_ASSUMED_DEPTH_IN = {"thumb": ASSUMED_THUMB_DEPTH_IN, "finger": ASSUMED_FINGER_DEPTH_IN}


def read_along_in(session: Session, ball: Ball, own_id: int, form: OldHoleForm) -> Fraction:
    """Returns how far along the centre line a typed hole is, to a millionth where its span to a known hole says so.

    Raises InvalidError at the field for a span that leads nowhere, or to a hole whose edge nobody knows.
    """
    if form.span.value is None or form.span_from is None:
        return give_way(form.along, form.along_way, "palm", "along_way")
    others = select(OldHole).where(OldHole.ball_id == ball.id, OldHole.id != own_id, OldHole.state != "not there")
    known = session.scalar(others.where(OldHole.id == form.span_from))
    if known is None:
        raise InvalidError.at("span_from", "That is no other hole of this ball. Choose one.")
    if known.cut_in is None:
        raise InvalidError.at("span_from", f"How wide the {known.name} is, is unknown, and so is where its edge is.")
    if known.forward_in is None or known.right_in is None:
        words = f"The pitch of the {known.name} is unknown, and its edge moves with it. Measure along from the mark."
        raise InvalidError.at("span_from", words)
    if not form.along_way:
        raise InvalidError.at("along_way", f"Which way from the {known.name}?")
    across = give_way(form.across, form.across_way, "left", "across_way")
    sketched = OldHole(
        digit=form.hole, along_in=known.along_in, across_in=across, cut_in=form.size.value, **pitch_parts(form.pitch)
    )
    way = 1 if form.along_way == "fingers" else -1
    own, radius_in = describe_shape(sketched)[0], float(ball.around_in) / 2 / math.pi
    try:
        placed = place_by_span(own, describe_shape(known)[0], float(form.span.value), way, radius_in)
    except CannotBuildError as error:
        field = {"span_in": "span", "across_in": "across"}.get(error.field, "size")
        raise InvalidError.at(field, f"Is that right? {error.message[0].upper()}{error.message[1:]}.") from None
    return Fraction(round(placed.along_in * 10**6), 10**6)


def note_span(form: OldHoleForm) -> dict[str, str]:
    """Returns what the texts of a place given by a span need besides its measures: from which hole, and which way."""
    return {"span_from": str(form.span_from), "along_way": form.along_way} if form.span.value is not None else {}


def give_way(typed: Reading[Fraction], way: str, negative: str, field: str) -> Fraction:
    """Returns an arc with its sign: 0 for an empty one; raises InvalidError for one that goes no way."""
    size = typed.value or Fraction(0)
    if size and not way:
        raise InvalidError.at(field, "Which way from the mark?")
    return -size if way == negative else size


def describe_shape(hole: OldHole) -> tuple[OldHoleShape, tuple[str, ...]]:
    """Returns an old hole for the calculation, and in words what is unknown of it and counted as ASSUMED."""
    cut, depth = ASSUMED_CUT_IN[hole.digit], _ASSUMED_DEPTH_IN[hole.digit]
    unknown = {
        f"its size, counted as {inches(cut)}": hole.cut_in is None,
        "its pitch, counted as none": hole.forward_in is None or hole.right_in is None,
        f"its depth, counted as {inches(depth)}": hole.depth_in is None,
    }
    shape = OldHoleShape(
        along_in=float(hole.along_in),
        across_in=float(hole.across_in),
        cut_in=cut if hole.cut_in is None else float(hole.cut_in),
        forward_in=float(hole.forward_in or 0),
        right_in=float(hole.right_in or 0),
        depth_in=depth if hole.depth_in is None else float(hole.depth_in),
        digit="thumb" if hole.digit == "thumb" else "finger",
    )
    return shape, tuple(f"{words}, ASSUMED" for words, is_gap in unknown.items() if is_gap)
