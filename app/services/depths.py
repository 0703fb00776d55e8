"""Bore depths of shops: observations, the depth estimated from them, and our own collar.

A shop's depth is estimated from its observations, and from what it says of itself on cards, never overwritten by hand.
What a shop tells counts as one observation a day, however many of its balls come in.
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import replace
from fractions import Fraction
from math import sqrt

from sqlalchemy import select
from sqlalchemy.orm import Session, joinedload

from app.calculation import bores, depths
from app.calculation import shop_depths as calculated
from app.calculation.errors import CannotBuildError
from app.calculation.tolerances import floored_doubt_in
from app.closed_sets import DATUM_WORDS, OBTAINED_WORDS, STRAIGHT_UNASKED
from app.errors import InvalidError
from app.models import DepthObservation, Drilling, Inner, InsertSystem, Shop
from app.schemas.forms import mark_unasked, pitch_parts, typed_texts
from app.schemas.systems import DepthForm
from app.services import apart_depths, changes, shop_limits, shops, systems
from app.services.known_depths import SAID, Observed, ShopDepth, Stated
from app.services.stated_depths import HAS_SAID, load_stated

USUAL_CIRCUMFERENCE_IN = Fraction(27)  # common practice, no source: the ball size for which a shop sets its gauges
USUAL_BORE_IN = Fraction(3, 2)  # common practice, no source
UNKNOWN_DIVISION_IN = Fraction(1, 16)  # ASSUMED: the coarsest ruler, if the division of a reading is unknown


def observe(session: Session, shop_id: int, form: DepthForm) -> DepthObservation:
    """Adds an observation of a shop's bore depth; raises InvalidError without a depth or for a repeated one."""
    shop, system = shops.get_shop(session, shop_id), systems.get_system(session, form.system_id)
    if form.depth.value is None:
        raise InvalidError.at("depth", "How deep? Leave the whole observation out if nobody knows.")
    limits = shop_limits.load_limits(session)
    spread = {"collar_measured": "collar_spread", "told": "told_spread", "read_off_ball": "ball_spread"}
    observation = DepthObservation(
        shop_id=shop.id,
        system_id=system.id,
        depth_in=form.depth.value.depth_in,
        datum=reconcile_datum(form.depth.value.datum, form.datum),
        obtained=form.obtained,
        circumference_in=USUAL_CIRCUMFERENCE_IN,
        bore_in=system.bore_in or USUAL_BORE_IN,
        **pitch_parts(form.pitch),
        resolution_in=None if form.resolution.state == "unknown" else form.resolution.value or Fraction(0),
        repeatability_in=limits[spread[form.obtained]].normal_in,
        instrument=form.instrument,
        observed_on=form.observed_on,
        staff_id=form.who,
        notes=form.notes,
        typed=typed_texts(form),
    )
    if needs_pitch(observation):
        observation.typed |= mark_unasked(form.pitch, "pitch", STRAIGHT_UNASKED)
    check_bore(observation)
    if is_there_already(session, observation):
        raise InvalidError.at("depth", "This observation is there already. If it was read again, say so in the notes.")
    add(session, form.who, observation, shop.name, system)
    return observation


def add(session: Session, who: int, observation: DepthObservation, shop_name: str, system: InsertSystem) -> None:
    """Stores an observation with its line of history; a doubt of 0 is stored as that of the finest division.

    Raises NotAllowedError for the collar of another shop of the chain, if each shop edits only its own records.
    """
    shops.require_own_collar(session, shops.get_shop(session, observation.shop_id))
    spread = float(observation.repeatability_in)
    if spread < floored_doubt_in(spread):
        observation.repeatability_in = Fraction(floored_doubt_in(spread)).limit_denominator(10**6)
    depth = changes.format_value(observation.depth_in)
    words = f"{depth} {DATUM_WORDS[observation.datum]}, {OBTAINED_WORDS[observation.obtained]}"
    changes.add_record(session, who, observation, f"{shop_name}, {system.label}: {words}")


def is_there_already(session: Session, observation: DepthObservation) -> bool:
    """Whether the same reading of the same day, with the same notes, was entered before."""
    same = select(DepthObservation.id).where(
        DepthObservation.shop_id == observation.shop_id,
        DepthObservation.system_id == observation.system_id,
        DepthObservation.depth_in == observation.depth_in,
        DepthObservation.datum == observation.datum,
        DepthObservation.obtained == observation.obtained,
        DepthObservation.observed_on == observation.observed_on,
        DepthObservation.notes == observation.notes,
    )
    return session.scalar(same.limit(1)) is not None


def reconcile_datum(written: str, chosen: str) -> str:
    """Returns the datum named by a depth's text or chosen in its form; raises InvalidError if the two disagree."""
    if written and chosen not in {"unknown", written}:
        raise InvalidError.at("datum", "The depth names one datum and this field another. Which is meant?")
    return written or chosen


def check_bore(observation: DepthObservation) -> None:
    """Raises InvalidError for an observed bore that cannot exist."""
    try:
        bores.check_bore(to_bore(observation))
    except CannotBuildError as error:
        raise InvalidError.at("pitch", error.message) from None


def to_bore(observation: DepthObservation) -> bores.Bore:
    """Returns the observed bore with its depth as read; straight if its pitch is unknown."""
    return bores.Bore(
        float(observation.circumference_in),
        float(observation.bore_in),
        float(observation.depth_in),
        float(observation.forward_in or 0),
        float(observation.right_in or 0),
    )


def hangs_on_unknown_pitch(observation: DepthObservation) -> bool:
    """Whether the collar depth depends on an unknown pitch, which it does not from the collar or the high edge."""
    return observation.forward_in is None and needs_pitch(observation)


def needs_pitch(observation: DepthObservation) -> bool:
    """Whether the collar depth depends on the bore's pitch."""
    return observation.datum not in {"collar", "rim_high"} or observation.obtained == "trial_fit"


def list_doubts(observation: DepthObservation) -> tuple[str, ...]:
    """Returns in words what is unknown of an observation, or counts only because nobody was asked."""
    doubts = {
        "what the depth was measured from": observation.datum == "unknown",
        "the pitch of the bore": hangs_on_unknown_pitch(observation),
        f"the pitch of the bore ({STRAIGHT_UNASKED})": observation.is_pitch_unsaid,
        "the smallest division read": observation.resolution_in is None,
    }
    return tuple(words for words, is_doubt in doubts.items() if is_doubt)


def _find_collar_range_in(observation: DepthObservation) -> tuple[float, float]:
    """Returns (least, greatest) collar setting over every datum and pitch that a reading may have had."""
    bore = to_bore(observation)
    datums = [datum for datum in bores.DATUMS if observation.datum in {datum, "unknown"}]
    found = [bores.collar_depth_in(bore, datum) for datum in datums]
    if observation.forward_in is None:
        found = [possible.depth_in for datum in datums for possible in bores.possible_bores(bore, datum)]
        if observation.obtained == "trial_fit":
            extra = bores.trial_pitch_doubt_in(bore)
            return min(found) - extra, max(found) + extra
    return min(found), max(found)


def to_known_depth(observation: DepthObservation) -> depths.KnownDepth:
    """Returns collar depth and standard uncertainty: spread and division of the reading, unknown datum or pitch.

    A spread with few degrees of freedom is replaced by the wider normal spread with the same interval.
    Source: JCGM 100:2008 4.3.7 for a value known only to lie between two limits.
    """
    low, high = _find_collar_range_in(observation)
    depth, half = (low + high) / 2, (high - low) / 2
    division = float(UNKNOWN_DIVISION_IN if observation.resolution_in is None else observation.resolution_in)
    spread = floored_doubt_in(float(observation.repeatability_in))
    if observation.freedom is not None:
        spread = depths.as_if_known(spread, float(observation.freedom))
    return depths.KnownDepth(depth, floored_doubt_in(sqrt(spread**2 + division**2 / 12 + half**2 / 3), division))


def sum_up(found: Sequence[tuple[DepthObservation, int | None]], stated: Sequence[Stated] = ()) -> ShopDepth:
    """Estimates a shop's depth for one system from observations, with the ids of their bores, and from what it says."""
    observations = [o for o, _ in found]
    observed = tuple(_read_observed(*one) for one in found)
    sources = (*(OBTAINED_WORDS[o.obtained] for o in observations), *(SAID for _ in stated))
    return ShopDepth(
        knowledge=calculated.shop_depth([o.known for o in observed], stated=[s.known for s in stated]),
        observed=observed,
        stated=tuple(stated),
        last_on=max((*(o.observed_on for o in observations), *(s.as_of for s in stated))),
        sources=tuple(dict.fromkeys(sources)),
        is_datum_unknown=any(o.datum == "unknown" for o in observations),
        is_pitch_unknown=any(map(hangs_on_unknown_pitch, observations)),
    )


def _read_observed(observation: DepthObservation, bore_id: int | None) -> Observed:
    known = replace(to_known_depth(observation), ball=bore_id)
    return Observed(observation.id, known, observation.obtained, list_doubts(observation))


_OBSERVED = (DepthObservation, apart_depths.BORE_ID, apart_depths.IS_APART)
_OF_SHOPS = (
    select(Shop.id, shops.select_counted_as(), HAS_SAID, *_OBSERVED)
    .outerjoin(DepthObservation, DepthObservation.shop_id == Shop.id)
    .outerjoin(Drilling, Drilling.id == DepthObservation.drilling_id)
    .outerjoin(Inner, Inner.id == DepthObservation.inner_id)
    .where(shops.IS_COUNTED_WITH)
    .order_by(DepthObservation.id)
)


def load_shop_depths(session: Session, shop_ids: Iterable[int]) -> dict[tuple[int, int], ShopDepth]:
    """Returns the depth by (shop, system) of these shops, in one query; merged shops share what is known.

    One more query is sent where one of them said something of itself on a card.
    """
    if not (wanted := set(shop_ids)):
        return {}
    members: dict[int, set[int]] = defaultdict(set)
    grouped: dict[tuple[int, int], list[tuple[DepthObservation, int | None]]] = defaultdict(list)
    apart: dict[tuple[int, int], list[Observed]] = defaultdict(list)
    has_said = False
    for shop_id, root, says, observation, bore, is_apart in session.execute(_OF_SHOPS, {"shop_ids": sorted(wanted)}):
        members[root].add(shop_id)
        has_said = has_said or says
        if observation and is_apart:
            apart[root, observation.system_id].append(_read_observed(observation, bore))
        elif observation:
            grouped[root, observation.system_id].append((observation, bore))
    said = load_stated(session, wanted) if has_said else {}
    known = {
        key: replace(sum_up(grouped.get(key, ()), said.get(key, ())), apart=tuple(apart[key]))
        for key in dict.fromkeys((*grouped, *said))
    }
    return {
        (shop_id, system_id): known[root, system_id] for root, system_id in known for shop_id in members.get(root, ())
    }


def leave_each_out(depth: ShopDepth) -> dict[int, float]:
    """Returns the shop's mean in inches without each observation in turn, by the observation's id."""
    stated = [s.known for s in depth.stated]
    means = calculated.depths_without([o.known for o in depth.observed], depth.knowledge.prior, stated)
    return dict(zip((o.id for o in depth.observed), means, strict=False))


def list_observations(session: Session, shop_id: int) -> list[DepthObservation]:
    """Returns observations of a shop and of shops merged with it, with their systems, newest first."""
    query = (
        select(DepthObservation)
        .where(DepthObservation.shop_id.in_(select(Shop.id).where(shops.IS_COUNTED_WITH)))
        .options(joinedload(DepthObservation.shop), joinedload(DepthObservation.system))
        .options(joinedload(DepthObservation.staff))
        .order_by(DepthObservation.observed_on.desc(), DepthObservation.id.desc())
    )
    return list(session.scalars(query, {"shop_ids": [shop_id]}))
