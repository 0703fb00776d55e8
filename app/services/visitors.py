"""Takes in a visitor's inner, and perhaps ball, from another shop; predicts how it sits in a bore of ours."""

from dataclasses import dataclass
from datetime import date
from fractions import Fraction

from sqlalchemy.orm import Session

from app.calculation import bores
from app.calculation.errors import CannotBuildError
from app.calculation.rim_diagnosis import Diagnosis, diagnose_rim
from app.closed_sets import NOTCH_UNASKED, STRAIGHT_UNASKED
from app.errors import InvalidError
from app.measures.pitches import Pitch
from app.models import Ball, Bore, Bowler, DepthObservation, Drilling, Inner, InsertSystem, Shop
from app.schemas.bowlers import BowlerForm
from app.schemas.forms import mark_unasked, pitch_parts, typed_texts
from app.schemas.inners import RimForm, VisitorForm
from app.schemas.shops import ShopForm
from app.services import (
    balls,
    bowler_words,
    bowlers,
    changes,
    depths,
    drillings,
    inners,
    inners_in_bores,
    photos,
    shop_limits,
    shops,
    systems,
    target_depths,
)
from app.services.inners_in_bores import InnerInBore, KnownBore
from app.services.known_depths import ShopDepth
from app.services.photos import Sent
from app.services.shop_limits import SetLimit
from app.services.target_depths import TargetDepth
from app.services.unsettled import Unsettled


def take_in(session: Session, form: VisitorForm, photo: Sent = b"") -> Inner:
    """Adds a visitor's inner with its bore, ball and photo, and a new bowler or shop; raises InvalidError."""
    if photo and not form.ball_label:
        raise InvalidError.at("ball_label", "Name the ball that the photo shows.")
    system = systems.get_system(session, form.system_id)
    if system.digit != "thumb":
        raise InvalidError.at("system_id", "That system is for fingers. Choose the thumb system.")
    frame = inners.read_frame_values(form, system)
    shop = _take_shop(session, form)
    bowler = _take_bowler(session, form, shop)
    bore = _make_bore(form, system, shop)
    changes.add_record(session, form.who, bore, f"bore by {shop.name}", bowler=bowler.id)
    drilling = None
    if form.ball_label:
        ball = _add_ball(session, form, bowler, bore, shop)
        drilling = _add_drilling(session, form, ball, bore, shop, system)
        if photo:
            photos.add_photo(session, ball, form.who, photo)
    _observe(session, form, bore, shop, system, drilling)
    taken = Inner(
        bowler_id=bowler.id,
        label=f"from {shop.name}",
        system_id=system.id,
        trimmed_in_id=bore.id,
        notes=form.notes,
        **frame,
    )
    changes.add_record(session, form.who, taken, f"inner {taken.label}, {system.label}")
    session.flush()
    bowler_words.index_bowler(session, bowler)
    return taken


def _take_bowler(session: Session, form: VisitorForm, shop: Shop) -> Bowler:
    if form.bowler_id:
        known = bowlers.get_bowler(session, form.bowler_id)
        bowlers.require_in_use(known)
        return known
    if not form.bowler_name:
        raise InvalidError.at("bowler_name", "Pick the bowler above, or write a name.")
    values = {"who": form.who, "name": form.bowler_name, "phone": form.bowler_phone, "hand": form.hand}
    return bowlers.register(session, BowlerForm.read(values | {"home_shop_id": shop.id}))


def _take_shop(session: Session, form: VisitorForm) -> Shop:
    if form.shop_id:
        return shops.get_shop(session, form.shop_id)
    if not form.shop_name:
        raise InvalidError.at("shop_id", "Whose work is it? Pick the shop, or add it below.")
    named = ShopForm(who=form.who, name=form.shop_name, town=form.shop_town)
    try:
        return shops.add_shop(session, named)
    except InvalidError as error:
        raise InvalidError("That shop is known.", {"shop_name": error.fields["name"]}) from None


def _make_bore(form: VisitorForm, system: InsertSystem, shop: Shop) -> Bore:
    depth = form.depth.value
    bore = Bore(
        system_id=system.id,
        shop_id=shop.id,
        circumference_in=balls.read_circumference_in(form.circumference),
        bore_in=system.bore_in or depths.USUAL_BORE_IN,
        depth_in=depth.depth_in if depth and form.obtained == "read_off_ball" else None,
        datum=depths.reconcile_datum(depth.datum, form.datum) if depth else "unknown",
        **pitch_parts(form.bore_pitch),
        notch_deg=system.notch_deg if form.notch.state == "absent" else form.notch.value,
        hand=form.hand,
        typed=typed_texts(form)
        | mark_unasked(form.bore_pitch, "bore_pitch", STRAIGHT_UNASKED)
        | (mark_unasked(form.notch, "notch", NOTCH_UNASKED) if system.notch_deg is not None else {}),
    )
    try:
        bores.check_bore(drillings.to_bore_shape(bore, Fraction(1)))
    except CannotBuildError as error:
        raise InvalidError.at("bore_pitch", error.message) from None
    return bore


def _observe(
    session: Session, form: VisitorForm, bore: Bore, shop: Shop, system: InsertSystem, drilling: Drilling | None
) -> None:
    """Adds the depth in the form, if any, to the shop's observations."""
    if (depth := form.depth.value) is None:
        return
    spread = shop_limits.load_limits(session)["told_spread" if form.obtained == "told" else "ball_spread"]
    observation = DepthObservation(
        shop_id=shop.id,
        system_id=system.id,
        depth_in=depth.depth_in,
        datum=bore.datum,
        obtained=form.obtained,
        circumference_in=bore.around_in,
        bore_in=bore.bore_in,
        forward_in=bore.forward_in,
        right_in=bore.right_in,
        resolution_in=Fraction(0),
        repeatability_in=spread.value_in,
        drilling_id=drilling.id if drilling and form.obtained == "read_off_ball" else None,
        observed_on=date.today(),
        staff_id=form.who,
        notes="",
        typed={"depth": form.depth.text} | ({"pitch": form.bore_pitch.text} if form.bore_pitch.text else {}),
    )
    if depths.needs_pitch(observation):
        observation.typed |= mark_unasked(form.bore_pitch, "pitch", STRAIGHT_UNASKED)
    if form.obtained == "told" and depths.is_there_already(session, observation):
        return  # what a shop tells with every ball of a set is one observation
    depths.add(session, form.who, observation, shop.name, system)


def _add_ball(session: Session, form: VisitorForm, bowler: Bowler, bore: Bore, shop: Shop) -> Ball:
    named = (form.ball_label.casefold(), form.ball_serial.casefold())
    for known in balls.list_of_bowler(session, bowler.id):
        if known.retired_at is None and (known.label.casefold(), known.serial.casefold()) == named:
            raise InvalidError.at("ball_label", f"{bowler.name} has this ball here. Another like it needs its serial.")
    ball = Ball(
        bowler_id=bowler.id,
        label=form.ball_label,
        serial=form.ball_serial,
        circumference_in=bore.circumference_in,
        typed={"circumference": form.circumference.text} if form.circumference.text else {},
    )
    changes.add_record(session, form.who, ball, f"{ball.label}, drilled by {shop.name}")
    return ball


def _add_drilling(
    session: Session, form: VisitorForm, ball: Ball, bore: Bore, shop: Shop, system: InsertSystem
) -> Drilling:
    tolerance = shop_limits.load_limits(session)["tolerance"]
    foreign = Drilling(
        ball_id=ball.id,
        system_id=system.id,
        shop_id=shop.id,
        bore_id=bore.id,
        state="closed",
        tolerance_in=tolerance.value_in,
        tolerance_source=tolerance.source,
        staff_id=form.who,
    )
    changes.add_record(session, form.who, foreign, f"{ball.label}, drilled by {shop.name}", bowler=ball.bowler_id)
    return foreign


@dataclass(frozen=True)
class Prediction:
    """How a visiting inner would sit in a bore cut at our depth, or what has to be measured first.

    `in_bore` is set if everything is known, `unsettled` if a pitch or notch is unknown, else `cannot_say` in words.
    """

    made: KnownBore | None
    ours: KnownBore | None
    in_bore: InnerInBore | None
    foreign: ShopDepth | None
    home: ShopDepth | None
    unsettled: Unsettled | None = None
    cannot_say: str = ""


NO_PITCH = (
    "The pitch it was trimmed at is not known, so no bore of ours can be cut at it. Read the pitch off the loose "
    "inner, or write a pitch of our bore to see what its rim may do there."
)


def predict_in_our_bore(
    session: Session,
    inner: Inner,
    bore_pitch: Pitch | None,
    circumference_in: Fraction | None,
    limits: dict[str, SetLimit] | None = None,
) -> Prediction:
    """Predicts an inner in a bore of ours: our notch and collar, at its own bore's pitch unless another is given."""
    ours = shops.require_our_shop(session)
    made_bore, system = inner.trimmed_in, inner.system
    known = depths.load_shop_depths(session, [ours.id, made_bore.shop_id])
    foreign, home = known.get((made_bore.shop_id, system.id)), known.get((ours.id, system.id))
    limits = limits or shop_limits.load_limits(session)
    made = inners_in_bores.find_known_bore(made_bore, foreign, limits)
    target = target_depths.choose_target_depth(system, home)
    pitch = bore_pitch
    if pitch is None and made_bore.forward_in is not None and made_bore.right_in is not None:
        pitch = Pitch(made_bore.forward_in, made_bore.right_in)
    if pitch is None:
        return Prediction(made, None, None, foreign, home, cannot_say=NO_PITCH)
    fitted = _expect_our_bore(inner, target, pitch, circumference_in) if target else None
    how = None
    if made and fitted:
        how = inners_in_bores.compose(inner, made, fitted, float(limits["lip"].value_in))
    return _tell(how, made, fitted, foreign, home)


def _expect_our_bore(inner: Inner, target: TargetDepth, pitch: Pitch, circumference_in: Fraction | None) -> KnownBore:
    """Returns the bore that we would drill for an inner, in a ball as large as its own unless a size is given."""
    made_bore, system = inner.trimmed_in, inner.system
    shape = bores.Bore(
        float(circumference_in or made_bore.around_in),
        float(system.bore_in or depths.USUAL_BORE_IN),
        target.depth_in,
        float(pitch.forward_in),
        float(pitch.right_in),
    )
    notch = None if system.notch_deg is None else float(system.notch_deg)
    around = () if circumference_in or made_bore.circumference_in else ("the circumference of the ball",)
    doubts = (*target.doubts, *around)
    return KnownBore(shape, target.half_width_in, target.words, notch, unmeasured=target.unmeasured, doubts=doubts)


def predict_in_ball(
    session: Session, inner: Inner, drilling: Drilling, limits: dict[str, SetLimit] | None = None
) -> Prediction:
    """Predicts an inner in the bore of a drilling as built."""
    if drilling.bore is None or drilling.system_id != inner.system_id or drilling.ball.bowler_id != inner.bowler_id:
        raise InvalidError("That ball has no bore that this inner locks into.")
    known = depths.load_shop_depths(session, [drilling.shop_id, inner.trimmed_in.shop_id])
    foreign = known.get((inner.trimmed_in.shop_id, inner.system_id))
    limits = limits or shop_limits.load_limits(session)
    made = inners_in_bores.find_known_bore(inner.trimmed_in, foreign, limits)
    fitted = inners_in_bores.find_known_bore(drilling.bore, known.get((drilling.shop_id, inner.system_id)), limits)
    how = inners_in_bores.sit_in_bore(inner, drilling.bore, made, fitted, float(limits["lip"].value_in))
    return _tell(how, made, fitted, foreign, None)


def diagnose(session: Session, prediction: Prediction, outside_in: Fraction, form: RimForm) -> Diagnosis | None:
    """Diagnoses four readings of the rim against the predicted ones; None if there is no prediction."""
    if prediction.in_bore is None:
        return None
    spread = float(shop_limits.load_limits(session)["height_spread"].value_in)
    how = prediction.in_bore
    return diagnose_rim(form.readings_in, float(outside_in), how.made, how.fitted, how.turn_deg, spread)


def _tell(
    how: InnerInBore | Unsettled | None,
    made: KnownBore | None,
    fitted: KnownBore | None,
    foreign: ShopDepth | None,
    home: ShopDepth | None,
) -> Prediction:
    if isinstance(how, Unsettled):
        return Prediction(made, fitted, None, foreign, home, unsettled=how)
    return Prediction(made, fitted, how, foreign, home)
