"""What our records say of a bowler, as the contents of a card: never notes, phone, health or other people."""

import unicodedata
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import date
from fractions import Fraction
from typing import cast, get_args

from sqlalchemy.orm import Session

from app.calculation.bores import DATUMS
from app.calculation.depths import NORMAL_FACTOR
from app.cards import contents
from app.cards.contents import ZERO, Card
from app.cards.evidence import evidence_id
from app.closed_sets import BridgeEdges, Datum, GripHoles, Hand, HeightSetBy, Locks, SpanEdges, Style, SystemDigit
from app.measures.lengths import is_unknown
from app.models import Bore, Bowler, Fit, FitHole, Inner, InsertSystem, Shop
from app.services import depths, fits, inner_heights, inners, shop_keys, shop_limits, shops
from app.services.known_depths import ShopDepth
from app.services.shop_limits import SetLimit, read_depth_doubt_in

_FINEST = 10_000  # a depth that was worked out is told to a ten-thousandth of an inch
_JOINERS = "\u200c\u200d"


@dataclass
class _Lists:
    """The lists of a card, in which everything stands once."""

    shops: list[Shop] = field(default_factory=list)
    systems: list[InsertSystem] = field(default_factory=list)
    bores: list[Bore] = field(default_factory=list)

    def shop(self, of: Shop) -> int:
        return _place(self.shops, of)

    def system(self, of: InsertSystem | None) -> int | None:
        return None if of is None else _place(self.systems, of)

    def bore(self, of: Bore) -> int:
        return _place(self.bores, of)


def _place(known: list[object] | list[Shop] | list[InsertSystem] | list[Bore], of: object) -> int:
    for place, one in enumerate(known):
        if one is of:
            return place
    cast("list[object]", known).append(of)
    return len(known) - 1


def find_fit_in_force(session: Session, bowler_id: int, hand: str) -> Fit | None:
    found = fits.list_of_bowler(session, bowler_id)
    return next((fit for fit in found if fit.hand == hand and fit.state == "in force"), None)


def list_inners(session: Session, bowler_id: int, hand: str) -> list[Inner]:
    """Returns the inners in use that were made for this hand, or for one that nobody knows."""
    owned = inners.list_of_bowler(session, bowler_id)
    return [inner for inner in owned if not inner.retired_at and inner.trimmed_in.hand in {"", hand}]


def build_card(
    session: Session, bowler: Bowler, hand: Hand, series: bytes, made_on: date, left_out: Sequence[int] = ()
) -> Card:
    """Returns the first revision of a card of what is recorded of a bowler's hand, without the inners left out."""
    ours = shops.require_our_shop(session)
    lists = _Lists([ours])
    fit = find_fit_in_force(session, bowler.id, hand)
    owned = [inner for inner in list_inners(session, bowler.id, hand) if inner.id not in left_out]
    known = depths.load_shop_depths(session, {ours.id, *(inner.trimmed_in.shop_id for inner in owned)})
    told_fit = tell_fit(fit, lists.system) if fit else None
    rims = inner_heights.find_heights(session, [inner.id for inner in owned])
    told_inners = tuple(
        tell_inner(inner, lists.system, lists.bore, rims[inner.id].heights_in if inner.id in rims else ())
        for inner in owned
    )
    limits = shop_limits.load_limits(session)
    of_bore = {inner.trimmed_in: inner.system for inner in owned}
    bores = tuple(
        tell_bore(bore, (lists.system(of_bore[bore]), lists.shop(bore.shop)), known, limits) for bore in lists.bores
    )
    return Card(
        series=series,
        revision=1,
        made_on=made_on,
        shops=tuple(_clean(shop.name, 120) for shop in lists.shops),
        bowler=_clean(bowler.name, 120),
        hand=hand,
        fit=told_fit,
        hardware=tuple(map(tell_hardware, lists.systems)),
        bores=bores,
        inners=told_inners,
        depths=tuple(_list_depths(session, lists, known, made_on)),
    )


def tell_fit(of: Fit, place: Callable[[InsertSystem | None], int | None]) -> contents.Fit:
    """Returns a fit as a card has it; `place` is where its hardware stands there."""
    told = {hole.digit: tell_hole(of, hole, place) for hole in of.holes if hole.digit in of.digits}
    has_bridge = len(of.fingers) > 1
    return contents.Fit(
        revision=of.revision,
        in_force_on=(of.in_force_at or of.created_at).date(),
        style=cast("Style", of.style),
        grip_holes=cast("GripHoles", of.grip_holes or "three"),
        middle_span_in=of.span_middle_in if "middle" in told else None,
        ring_span_in=of.span_ring_in if "ring" in told else None,
        span_edges=cast("SpanEdges", of.span_edges),
        bridge_in=of.bridge_in if has_bridge else None,
        bridge_edges=cast("BridgeEdges", of.bridge_edges) if has_bridge and of.bridge_edges else None,
        hardware=place(of.system),
        thumb=told.get("thumb"),
        middle=told.get("middle"),
        ring=told.get("ring"),
    )


def tell_hole(of: Fit, hole: FitHole, place: Callable[[InsertSystem | None], int | None]) -> contents.Hole:
    is_off_unknown = hole.digit == "thumb" and is_unknown((of.typed or {}).get("thumb_offset", ""))
    oval_in, oval_deg = _tell_oval(hole.hole_in, hole.oval_in, hole.oval_deg)
    return contents.Hole(
        size_in=hole.hole_in,
        oval_in=oval_in,
        oval_deg=oval_deg,
        forward_in=hole.forward_in,
        right_in=hole.right_in,
        cut_in=hole.cut_in,
        depth_in=hole.depth_in,
        offset_in=None if is_off_unknown else hole.offset_in or ZERO,
        lift_in=hole.lift_in or ZERO,
        lift_deg=hole.lift_deg if hole.lift_in else None,
        hardware=place(hole.system),
    )


def _tell_oval(
    size: Fraction | None, oval: Fraction | None, deg: Fraction | None
) -> tuple[Fraction | None, Fraction | None]:
    """Returns (wider by, towards) of a hole: unknown where its size is."""
    wider = None if size is None else oval or ZERO
    return wider, deg if wider else None


def tell_hardware(of: InsertSystem) -> contents.Hardware:
    return contents.Hardware(
        digit=cast("SystemDigit", of.digit),
        sleeve_in=ZERO if of.height_set_by == "slug" and of.sleeve_od_in is None else of.sleeve_od_in,
        bore_in=of.bore_in,
        inside_in=tuple(map(Fraction, of.inner_ods[:12])),
        lift_in=of.lift_in or ZERO,
        lift_deg=of.lift_deg if of.lift_in else None,
        oval_in=of.oval_in or ZERO,
        oval_deg=of.oval_deg if of.oval_in else None,
        sleeve_length_in=of.sleeve_length_in,
        lock_depth_in=of.lock_depth_in,
        inner_length_in=of.inner_length_in,
        locks=cast("Locks", of.locks),
        notch_deg=of.notch_deg,
        wide_tab_deg=of.wide_tab_deg,
        height_set_by=cast("HeightSetBy", of.height_set_by),
    )


def tell_inner(
    of: Inner,
    place: Callable[[InsertSystem | None], int | None],
    place_bore: Callable[[Bore], int],
    heights_in: tuple[Fraction, ...],
) -> contents.Inner:
    """Returns an inner in its own lock frame, with its rim's heights where somebody measured them."""
    oval_in, oval_deg = _tell_oval(of.hole_in, of.oval_in, of.oval_deg)
    return contents.Inner(
        label=_clean(of.label, 40),
        hardware=place(of.system) or 0,
        bore=place_bore(of.trimmed_in),
        outside_in=of.outside_in,
        hole_in=of.hole_in,
        oval_in=oval_in,
        oval_deg=oval_deg,
        forward_in=of.forward_in,
        right_in=of.right_in,
        is_tilt_unsaid=of.is_tilt_unsaid,
        heights_in=heights_in,
    )


def tell_bore(
    of: Bore,
    places: tuple[int | None, int],
    known: dict[tuple[int, int], ShopDepth],
    limits: dict[str, SetLimit],
) -> contents.Bore:
    """Returns a bore as built; a depth of its own with the doubt of one such reading. `places`: hardware, shop."""
    hardware, shop = places
    own = known.get((of.shop_id, of.system_id or 0))
    observed = own.of_bore(of.id) if own else None
    depth, u, datum = of.depth_in, of.depth_u_in, of.datum
    if depth is not None and u is None:
        u = _round(read_depth_doubt_in(limits, "collar_spread" if of.shop.is_ours else "ball_spread"))
    if observed and (depth is None or datum not in DATUMS):
        depth, u, datum = _round(observed.depth_in), _round(observed.half_width_in / NORMAL_FACTOR), "collar"
    return contents.Bore(
        hardware=hardware,
        shop=shop,
        circumference_in=of.circumference_in,
        bore_in=of.bore_in,
        depth_in=depth,
        depth_u_in=u,
        datum=cast("Datum", datum if depth is not None else "collar"),
        shim_in=None if is_unknown((of.typed or {}).get("shim", "")) else of.shim_in or ZERO,
        forward_in=of.forward_in,
        right_in=of.right_in,
        notch_deg=of.notch_deg,
        hand=cast("Hand", of.hand) if of.hand in get_args(Hand) else None,
        is_pitch_unsaid=of.is_pitch_unsaid and of.forward_in is not None,
        is_notch_unsaid=of.is_notch_unsaid and of.notch_deg is not None,
    )


def _list_depths(
    session: Session, lists: _Lists, known: dict[tuple[int, int], ShopDepth], made_on: date
) -> list[contents.Depth]:
    """Returns what the shops of our chain on this card know of their own bores, for the thumb hardware on it.

    What others' bores are known to be is left to their own cards: told by two, it would count twice.
    """
    installation, told = shop_keys.find_installation(session), []
    for place, shop in enumerate(lists.shops):
        for number, system in enumerate(lists.systems):
            depth = known.get((shop.id, system.id)) if shop.is_ours else None
            if depth is None or not depth.observed:
                continue
            told.append(
                contents.Depth(
                    hardware=number,
                    shop=place,
                    mean_in=_round(depth.estimate.depth_in),
                    u_in=_round(depth.estimate.standard_uncertainty_in),
                    scatter_in=_round(depth.knowledge.scatter_in),
                    n=len(depth.observed),
                    balls=depth.knowledge.balls,
                    as_of=made_on,
                    evidence=evidence_id(installation, str(shop.id), str(system.id)),
                )
            )
    return told


def _round(value: float) -> Fraction:
    return Fraction(max(1, round(value * _FINEST)), _FINEST)


def _clean(text: str, most: int) -> str:
    """Returns a name without characters that nobody sees, as a card takes it."""
    seen = "".join(c for c in text if c in _JOINERS or unicodedata.category(c) not in {"Cc", "Cf", "Cs"})
    return seen.strip()[:most] or "?"
