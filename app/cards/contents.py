"""What a card holds: the fit in force, hardware, bores, inners, and what their shops' depths are known to be.

Lengths are inches, directions in the frame of `templates/help/geometry.md`: seen from outside the ball with the
fingers up, forward positive towards the palm, right positive, clock angles clockwise from the fingers. An inner's
numbers are in its own lock frame, as it stood in the bore it was trimmed in. None is unknown; where there is none of
something, it is 0. A card never holds notes, phone numbers, health or other people.
"""

from datetime import date
from fractions import Fraction

from app.cards import kinds
from app.cards.kinds import ANGLE, AROUND, DAY, FLAG, PITCH, SIZE, Kind, choice, count, several
from app.cards.records import held, record, record_of
from app.closed_sets import (
    DIGITS,
    DIGITS_OF,
    BridgeEdges,
    Datum,
    Digit,
    GripHoles,
    Hand,
    HeightSetBy,
    Locks,
    SpanEdges,
    Style,
    SystemDigit,
)

ZERO = Fraction(0)
SYSTEM_DIGIT: Kind[SystemDigit] = choice("thumb", "finger")
LOCKS: Kind[Locks] = choice("unknown", "clockwise", "anticlockwise")
HEIGHT_SET_BY: Kind[HeightSetBy] = choice("by_hand", "bore_floor", "ball_surface", "slug")
STYLE: Kind[Style] = choice("conventional", "semi-fingertip", "fingertip")
GRIP_HOLES: Kind[GripHoles] = choice("three", "thumbless", "thumb_middle", "thumb_ring")
SPAN_EDGES: Kind[SpanEdges] = choice("cut", "finished", "sleeve", "unknown")
BRIDGE_EDGES: Kind[BridgeEdges | None] = choice("cut", "finished", "unknown")
HAND: Kind[Hand] = choice("right", "left")
OF_HAND: Kind[Hand | None] = choice("right", "left")
DATUM: Kind[Datum] = choice("collar", "crown", "rim_high", "rim_low", "unknown")
_PLACE = count(0, 15)  # in the card's own list of hardware, bores or shops


@record
class Hardware:
    """A sleeve with its inners, or a finger's insert, in generic terms.

    Of an insert: `bore_in` is its outside, `inside_in` the insides it comes with, which may stand off its axis by
    `lift_in` and may be wider by `oval_in`.
    """

    digit: SystemDigit = held(1, SYSTEM_DIGIT)
    sleeve_in: Fraction | None = held(2, SIZE, default=None)
    bore_in: Fraction | None = held(3, SIZE, default=None)
    inside_in: tuple[Fraction, ...] = held(4, several(SIZE, 12), default=())
    lift_in: Fraction | None = held(5, SIZE, default=ZERO)
    lift_deg: Fraction | None = held(6, ANGLE, default=None)
    oval_in: Fraction | None = held(7, SIZE, default=ZERO)
    oval_deg: Fraction | None = held(8, ANGLE, default=None)
    sleeve_length_in: Fraction | None = held(9, SIZE, default=None)
    lock_depth_in: Fraction | None = held(10, SIZE, default=None)
    inner_length_in: Fraction | None = held(11, SIZE, default=None)
    locks: Locks = held(12, LOCKS, default="unknown")
    notch_deg: Fraction | None = held(13, ANGLE, default=None)
    wide_tab_deg: Fraction | None = held(14, ANGLE, default=None)
    height_set_by: HeightSetBy = held(15, HEIGHT_SET_BY, default="by_hand")


@record
class Hole:
    """One hole of a fit, finished; `cut_in` is a finger's bore for its insert, which `hardware` may say."""

    size_in: Fraction | None = held(1, SIZE, default=None)
    oval_in: Fraction | None = held(2, SIZE, default=ZERO)
    oval_deg: Fraction | None = held(3, ANGLE, default=None)
    forward_in: Fraction | None = held(4, PITCH, default=None)
    right_in: Fraction | None = held(5, PITCH, default=None)
    cut_in: Fraction | None = held(6, SIZE, default=None)
    depth_in: Fraction | None = held(7, SIZE, default=None)
    offset_in: Fraction | None = held(8, PITCH, default=ZERO)
    lift_in: Fraction | None = held(9, SIZE, default=ZERO)
    lift_deg: Fraction | None = held(10, ANGLE, default=None)
    hardware: int | None = held(11, _PLACE, default=None)


@record
class Fit:
    """The fit in force as specified; without a thumb hole its spans are reaches from the palm's plus."""

    revision: int = held(1, count(1, 9999))
    in_force_on: date = held(2, DAY)
    style: Style = held(3, STYLE)
    grip_holes: GripHoles = held(4, GRIP_HOLES, default="three")
    middle_span_in: Fraction | None = held(5, SIZE, default=None)
    ring_span_in: Fraction | None = held(6, SIZE, default=None)
    span_edges: SpanEdges = held(7, SPAN_EDGES)
    bridge_in: Fraction | None = held(8, SIZE, default=None)
    bridge_edges: BridgeEdges | None = held(9, BRIDGE_EDGES, default=None)
    hardware: int | None = held(10, _PLACE, default=None)
    thumb: Hole | None = held(11, record_of(Hole), default=None)
    middle: Hole | None = held(12, record_of(Hole), default=None)
    ring: Hole | None = held(13, record_of(Hole), default=None)

    @property
    def holes(self) -> dict[Digit, Hole]:
        """Its holes by digit, the thumb first."""
        named = zip(DIGITS, (self.thumb, self.middle, self.ring), strict=True)
        return {digit: hole for digit, hole in named if hole is not None}

    @property
    def has_its_holes(self) -> bool:
        """Whether it holds just the holes of its grip, known or not."""
        return tuple(self.holes) == DIGITS_OF[self.grip_holes]


@record
class Bore:
    """A bore that an inner was trimmed in; `shop` is whose bore it is, 0 the maker of the card.

    `depth_u_in` is the standard uncertainty of its depth as its maker reads it. Pitch or notch that count only because
    nobody asked are marked unsaid.
    """

    hardware: int | None = held(1, _PLACE, default=0)
    shop: int = held(2, _PLACE, default=0)
    circumference_in: Fraction | None = held(3, AROUND, default=None)
    bore_in: Fraction = held(4, SIZE)
    depth_in: Fraction | None = held(5, SIZE, default=None)
    depth_u_in: Fraction | None = held(6, SIZE, default=None)
    datum: Datum = held(7, DATUM, default="collar")
    shim_in: Fraction | None = held(8, SIZE, default=ZERO)
    forward_in: Fraction | None = held(9, PITCH, default=None)
    right_in: Fraction | None = held(10, PITCH, default=None)
    notch_deg: Fraction | None = held(11, ANGLE, default=None)
    hand: Hand | None = held(12, OF_HAND, default=None)
    is_pitch_unsaid: bool = held(13, FLAG, default=False)
    is_notch_unsaid: bool = held(14, FLAG, default=False)


@record
class Inner:
    """A thumb piece in its own lock frame; `bore` is the place of the bore it was trimmed in.

    `heights_in` is its trimmed rim above its seat at 12, 3, 6 and 9 o'clock, where somebody measured it.
    """

    label: str = held(1, kinds.text(40), default="")
    hardware: int = held(2, _PLACE, default=0)
    bore: int = held(3, _PLACE, default=0)
    outside_in: Fraction | None = held(4, SIZE, default=None)
    hole_in: Fraction | None = held(5, SIZE, default=None)
    oval_in: Fraction | None = held(6, SIZE, default=ZERO)
    oval_deg: Fraction | None = held(7, ANGLE, default=None)
    forward_in: Fraction | None = held(8, PITCH, default=None)
    right_in: Fraction | None = held(9, PITCH, default=None)
    is_tilt_unsaid: bool = held(10, FLAG, default=False)
    heights_in: tuple[Fraction, ...] = held(11, several(SIZE, 4), default=())


@record
class Depth:
    """How deep a shop bores for one hardware, as the maker's own observations have it.

    `mean_in`, its standard uncertainty and the scatter from ball to ball; `n` observations of `balls` balls. Estimates
    of the same `evidence` are one that grew: only the latest worked out (`as_of`) counts.
    """

    hardware: int = held(1, _PLACE, default=0)
    shop: int = held(2, _PLACE, default=0)
    mean_in: Fraction = held(3, SIZE)
    u_in: Fraction = held(4, SIZE)
    scatter_in: Fraction = held(5, SIZE)
    n: int = held(6, count(1, 1_000_000))
    balls: int = held(7, count(1, 1_000_000))
    datum: Datum = held(8, DATUM, default="collar")
    as_of: date = held(9, DAY)
    evidence: bytes = held(10, kinds.blob(8))


@record
class Card:
    """A whole card. `series` is random and the same on every card of one bowler of one shop; revisions count up in it.

    `shops` names the maker first, then the other shops whose bores are on the card.
    """

    series: bytes = held(1, kinds.blob(6))
    revision: int = held(2, count(1, 1_000_000))
    made_on: date = held(3, DAY)
    shops: tuple[str, ...] = held(4, several(kinds.text(120), 8))
    bowler: str = held(5, kinds.text(120))
    hand: Hand = held(6, HAND)
    fit: Fit | None = held(7, record_of(Fit), default=None)
    hardware: tuple[Hardware, ...] = held(8, several(record_of(Hardware), 8), default=())
    bores: tuple[Bore, ...] = held(9, several(record_of(Bore), 8), default=())
    inners: tuple[Inner, ...] = held(10, several(record_of(Inner), 8), default=())
    depths: tuple[Depth, ...] = held(11, several(record_of(Depth), 8), default=())

    @property
    def maker(self) -> str:
        """The name of the shop that made it."""
        return self.shops[0]
