"""Takes a card in: a draft fit, inners with the bores they were trimmed in, and what shops say of their depths."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from fractions import Fraction

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.calculation import bores as shapes
from app.calculation.errors import CannotBuildError
from app.cards import contents
from app.cards.contents import ZERO, Card
from app.cards.plausible import hold_bore
from app.closed_sets import NOTCH_UNASKED, STRAIGHT_UNASKED
from app.errors import ConflictError, InvalidError
from app.models import Bore, Bowler, Fit, Inner, InsertSystem, ReadCard, Shop, StatedDepth
from app.schemas.bowlers import BowlerForm
from app.schemas.cards import TakingForm
from app.schemas.fits import FitForm
from app.schemas.shops import ShopForm
from app.schemas.systems import SystemForm
from app.services import (
    bowler_words,
    bowlers,
    card_contents,
    card_leavings,
    card_previews,
    card_reading,
    card_texts,
    changes,
    drillings,
    fits,
    inner_heights,
    inners,
    known_keys,
    shops,
    systems,
)
from app.services.card_reading import Told
from app.services.card_texts import UNKNOWN


@dataclass(frozen=True)
class _Here:
    """What a card's shops and hardware are here, in the order of its own lists, and the ids of all it made.

    Hardware that is left out is None, and nothing that is taken names it.
    """

    shops: list[Shop]
    systems: list[InsertSystem | None]
    made: dict[str, list[int]]


def take_in(session: Session, form: TakingForm, told: Told) -> ReadCard:
    """Takes a card in for a bowler; raises InvalidError or ConflictError, and then nothing is taken."""
    card = card_leavings.leave_out(told.opened.card, form.left_out)
    if told.key:
        known_keys.require_trusted(told.key)
    if not (form.takes_fit or form.takes_inners or form.takes_depths):
        raise InvalidError("Choose what to take in: the fit, the inners or the depths.")
    _require_takable(session, form, told)
    here = _find_here(session, form, told)
    if told.key:
        known_keys.link(session, told.key, here.shops[0])
    bowler = _find_bowler(session, form, card, here.shops[0])
    if not form.bowler_id:
        here.made["bowler"] = [bowler.id]
    taken = ReadCard(**card_reading.read_values(told.opened), staff_id=form.who, outcome="taken in")
    taken.bowler_id, taken.data, taken.made = bowler.id, told.opened.data, {}
    changes.add_record(session, form.who, taken, f"card of {card.maker}, revision {card.revision}, taken in")
    made = here.made
    if form.takes_fit and card.fit:
        made["fit"] = [_take_fit(session, form.who, bowler, card, here).id]
    if form.takes_inners:
        made["inner"] = [inner.id for inner in _take_inners(session, form.who, bowler, card, here)]
    if form.takes_depths:
        made["depth"] = [depth.id for depth in _take_depths(session, form.who, taken, told, here)]
    taken.made = made
    session.flush()
    bowler_words.index_bowler(session, bowler)
    return taken


def _require_takable(session: Session, form: TakingForm, told: Told) -> None:
    """Raises for a card made in the future, or taken in already, unless the form says again; writers take turns."""
    if told.is_in_future:
        dated, here = told.opened.card.made_on.isoformat(), told.today.isoformat()
        raise InvalidError(f"This card is dated {dated}, and here it is {here}. Put the clock right, or ask its shop.")
    taken = card_reading.find_taken(session, told.opened.digest)
    if taken and not form.takes_again:
        of = session.get(Bowler, taken.bowler_id) if taken.bowler_id else None
        name = of.name if of else "somebody"
        raise ConflictError(f"This card was taken in already for {name}. To take it in once more, say so below.")


_LISTED: dict[str, Callable[[Session], Sequence[Shop] | Sequence[InsertSystem]]] = {
    "shop": shops.list_shops,
    "insert_system": systems.list_systems,
}

# What it means here ---------------------------------------------------------------------------------------------------


def _find_here(session: Session, form: TakingForm, told: Told) -> _Here:
    card = told.opened.card
    known = {of: {one.id for one in listed(session)} for of, listed in _LISTED.items()}
    found = [_find_shop(session, form, told, place) for place in range(len(card.shops))]
    places = range(len(card.hardware))
    own = [None if place in form.left_out else _find_system(session, form, card, place) for place in places]
    new: dict[str, list[int]] = {
        of: sorted({one.id for one in used if one} - known[of])
        for of, used in (("shop", found), ("insert_system", own))
    }
    return _Here(found, own, {of: ids for of, ids in new.items() if ids})


def _find_shop(session: Session, form: TakingForm, told: Told, place: int) -> Shop:
    """Returns the chosen shop, or adds the card's; a shop of ours whose key is not ours cannot be the maker."""
    name = told.opened.card.shops[place]
    chosen = form.shops[place] if place in form.shops else card_previews.find_shop(session, told, place)
    if chosen:
        shop = shops.get_shop(session, chosen)
        if place == 0 and shop.is_ours and not told.is_ours:
            raise InvalidError(f"The key of this card is none of ours, so {shop.name} did not make it.")
        return shop
    if place not in form.shops and card_previews.is_shop_asked(session, told, place):
        said = f"{name}: a shop of this name is here already. Choose it, or say that this is another."
        raise InvalidError.at(f"shop-{place}", said)
    name = _find_free_name(name, {shop.name for shop in shops.list_shops(session)})
    return shops.add_shop(session, ShopForm.read({"who": form.who, "name": name, "notes": "from its card"}))


def _find_free_name(name: str, taken: set[str]) -> str:
    return next(free for free in (name, *(f"{name[:70]} ({n})" for n in range(2, len(taken) + 3))) if free not in taken)


def _find_system(session: Session, form: TakingForm, card: Card, place: int) -> InsertSystem:
    bores = [bore for bore in card.bores if bore.hardware == place]
    one = card_texts.hold_hardware(card.hardware[place], bores)
    chosen = form.hardware[place] if place in form.hardware else card_previews.find_system(session, one)
    if chosen:
        system = systems.get_system(session, chosen)
        if system.digit != one.digit:
            raise InvalidError(f"Hardware {place + 1} of this card is for a {one.digit}: choose such hardware here.")
        return system
    label = f"{card.maker[:60]}, hardware {place + 1}"
    label = _find_free_name(label, set(session.scalars(select(InsertSystem.label))))
    try:
        added = systems.add(session, SystemForm.read({"who": form.who} | card_texts.write_hardware(one, label)))
    except InvalidError as error:
        told = " ".join(wrong.message for wrong in error.fields.values()) or error.message
        raise InvalidError(
            f"Hardware {place + 1} cannot be kept here. {told} Choose one of ours, or leave it out."
        ) from None
    _require_same(card_contents.tell_hardware(added), one, f"Hardware {place + 1}")
    return added


def _require_same(ours: object, theirs: object, what: str) -> None:
    """Raises InvalidError where our forms read something else than the card says: nothing is silently wrong."""
    if ours != theirs:
        raise InvalidError(f"{what} cannot be kept here exactly as the card has it. Leave it out, and type it.")


def _find_bowler(session: Session, form: TakingForm, card: Card, maker: Shop) -> Bowler:
    if form.bowler_id:
        known = bowlers.get_bowler(session, form.bowler_id)
        bowlers.require_in_use(known)
        return known
    typed = {"who": form.who, "name": card.bowler, "hand": card.hand, "is_somebody_else": True}
    home = {} if maker.is_ours else {"home_shop_id": maker.id}
    return bowlers.register(session, BowlerForm.read(typed | home))


# What it brings -------------------------------------------------------------------------------------------------------


def _take_fit(session: Session, who: int, bowler: Bowler, card: Card, here: _Here) -> Fit:
    """Adds the card's fit as a draft; what its forms read must be what the card says."""
    if card.fit is None:
        raise InvalidError("This card has no fit.")
    ids = [system.id if system else 0 for system in here.systems]
    reason = f"from the card of {card.maker}"[:200]
    form = FitForm.read({"who": who} | card_texts.write_fit(card.fit, card.hand, reason, ids))
    made = fits.add_draft(session, bowler, form)
    session.flush()
    session.expire(made, ["system"])
    made = fits.get_fit(session, made.id)
    told = card_contents.tell_fit(made, lambda system: ids.index(system.id) if system else None)
    same = replace(told, revision=card.fit.revision, in_force_on=card.fit.in_force_on)
    _require_same(_by_system(same, ids), _by_system(card_texts.hold_fit(card.fit), ids), "The fit")
    return made


def _by_system(fit: contents.Fit, ids: list[int]) -> contents.Fit:
    """Returns a fit whose hardware is numbered by what it is here, without what is left out: two may be one of ours."""

    def place(number: int | None) -> int | None:
        return None if number is None or not ids[number] else ids.index(ids[number])

    thumb, middle, ring = (
        hole and replace(hole, hardware=place(hole.hardware)) for hole in (fit.thumb, fit.middle, fit.ring)
    )
    return replace(fit, hardware=place(fit.hardware), thumb=thumb, middle=middle, ring=ring)


def _take_inners(session: Session, who: int, bowler: Bowler, card: Card, here: _Here) -> list[Inner]:
    """Adds the inners that are not recorded yet, each in the bore it was trimmed in."""
    ours = card_contents.build_card(session, bowler, card.hand, card.series, date.today())
    made: list[Inner] = []
    bores: dict[int, Bore] = {}
    for one in card.inners:
        if card_previews.is_known_inner(card, one, ours):
            continue
        if one.bore not in bores:
            bores[one.bore] = _take_bore(session, who, bowler, card.bores[one.bore], here)
        system = here.systems[one.hardware]
        if system:
            made.append(_take_inner(session, who, bowler, one, (system, bores[one.bore], card.maker)))
    return made


def _take_bore(session: Session, who: int, bowler: Bowler, one: contents.Bore, here: _Here) -> Bore:
    shop, one = here.shops[one.shop], hold_bore(one)
    system = None if one.hardware is None else here.systems[one.hardware]
    typed = {"bore_pitch": STRAIGHT_UNASKED} if one.is_pitch_unsaid else {}
    typed |= {"shim": UNKNOWN} if one.shim_in is None else {}
    bore = Bore(
        system_id=system.id if system else None,
        shop_id=shop.id,
        circumference_in=one.circumference_in,
        bore_in=one.bore_in,
        depth_in=one.depth_in,
        depth_u_in=one.depth_u_in,
        datum=one.datum,
        shim_in=one.shim_in or None,
        forward_in=one.forward_in,
        right_in=one.right_in if one.forward_in is not None else None,
        notch_deg=one.notch_deg,
        hand=one.hand or "",
        typed=typed | ({"notch": NOTCH_UNASKED} if one.is_notch_unsaid else {}),
    )
    try:
        shapes.check_bore(drillings.to_bore_shape(bore, one.depth_in or Fraction(1)))
    except CannotBuildError as error:
        raise InvalidError(f"A bore on this card cannot exist: {error.message}.") from None
    changes.add_record(session, who, bore, f"bore by {shop.name}, from its card", bowler=bowler.id)
    return bore


def _take_inner(
    session: Session, who: int, bowler: Bowler, one: contents.Inner, place: tuple[InsertSystem, Bore, str]
) -> Inner:
    system, bore, maker = place
    hole = one.hole_in + (one.oval_in or 0) if one.hole_in else None
    inners.check_size(system, one.outside_in, hole, "")
    held = card_texts.hold_inner(one)
    taken = Inner(
        bowler_id=bowler.id,
        label=one.label or "from a card",
        system_id=system.id,
        trimmed_in_id=bore.id,
        outside_in=one.outside_in,
        hole_in=held.hole_in,
        oval_in=held.oval_in,
        oval_deg=(held.oval_deg or ZERO) if held.hole_in is not None else None,
        forward_in=one.forward_in,
        right_in=one.right_in,
        notes=card_texts.tell_more(one),
        typed={"tilt": STRAIGHT_UNASKED} if one.is_tilt_unsaid else {},
    )
    changes.add_record(session, who, taken, f"inner {taken.label}, {system.label}, from a card")
    if one.heights_in:
        note = f"measured elsewhere: from the card of {maker}"
        inner_heights.keep_brought(session, who, taken, one.heights_in, note)
    return taken


def _take_depths(session: Session, who: int, taken: ReadCard, told: Told, here: _Here) -> list[StatedDepth]:
    """Keeps what the maker says of itself until today; of other shops, and of ours, no card of another speaks."""
    kept = []
    for one in told.counted_depths:
        shop, system = here.shops[one.shop], here.systems[one.hardware]
        if system is None:
            continue
        said = StatedDepth(
            shop_id=shop.id,
            system_id=system.id,
            card_id=taken.id,
            **{name: getattr(one, name) for name in ("mean_in", "u_in", "scatter_in", "n", "balls", "datum", "as_of")},
            evidence=one.evidence,
        )
        words = f"{shop.name}, {system.label}: {changes.format_value(one.mean_in)} from {one.n} observations"
        changes.add_record(session, who, said, words, "from its card", bowler=taken.bowler_id)
        kept.append(said)
    return kept
