"""Weighings of a drilling held against its prediction: what was found, what each doubt accounts for, the verdict then.

All of it is kept with the weighing as it was told, with the regulation's edition, and never worked out again.
"""

from collections.abc import Sequence
from contextlib import suppress
from datetime import date

from pydantic import JsonValue
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.calculation.balance_verdicts import BalanceVerdict
from app.calculation.balances import Ounces
from app.calculation.ball_densities import Explanation, KindDensity, explain_difference, sharpen_density
from app.calculation.errors import CannotBuildError
from app.errors import ConflictError, InvalidError
from app.measures.balance_words import WAYS
from app.models import Drilling, DrillingStep, Scale, Weighing
from app.schemas.balance_views import BalanceWeighingForm, LookForm
from app.services import (
    balance_rulings,
    balance_starts,
    balances,
    ball_kinds,
    ball_marks,
    doubtful_readings,
    kept_predictions,
    read_balances,
    scales,
    weighings,
)
from app.services.balance_rulings import Ruling
from app.services.balance_starts import TypedStart
from app.services.balances import Prediction
from app.services.read_balances import ReadBalance

_WAYS_AND_WEIGHT = (*WAYS, "weight")


def take_typed(form: LookForm) -> TypedStart:
    """Returns what a form counts with besides the ball's own marks."""
    along, across = form.place_in or (None, None)
    return TypedStart(form.start_top.value, along, across)


def find_scale(session: Session, scale_id: int | None = None) -> Scale | None:
    """Returns the chosen scale, else the only one that our shop uses; None where that is open."""
    if scale_id:
        return session.get(Scale, scale_id)
    own = [of for of in scales.list_scales(session, own_only=True) if not of.retired_at]
    return own[0] if len(own) == 1 else None


def predict(session: Session, drilling: Drilling, form: LookForm, scale_id: int | None = None) -> Prediction | None:
    """Returns the balance of a drilling with all that is known of its kind of ball; raises InvalidError."""
    density = ball_kinds.learn_density(session, drilling)
    scale = find_scale(session, scale_id or form.scale_for_arm)
    try:
        return balances.predict(session, drilling, take_typed(form), density, scale)
    except CannotBuildError as error:
        field = next((name for name in ("along", "across") if error.field == f"heavy_spot.{name}_in"), "")
        raise InvalidError.at(field, f"Is that right? {error.message[0].upper()}{error.message[1:]}.") from None


def add(session: Session, drilling: Drilling, form: BalanceWeighingForm) -> Weighing:
    """Adds a weighing with what was told of it; raises InvalidError, and ConflictError for one after no drilling."""
    if form.stage == "after" and drilling.state not in {"drilled", "closed"}:
        raise InvalidError.at("stage", "This ball is not drilled yet. Was it weighed before drilling?")
    if drilling.state in {"plugged", "not drilled"}:
        raise ConflictError("This drilling has ended: nothing more is weighed of it.")
    if form.stage == "before" and _is_cut(session, drilling):
        raise InvalidError.at(
            "stage", "This ball is drilled into already, so its holes count. Weigh it after drilling."
        )
    form = form.model_copy(update={"drilling_id": drilling.id})
    scale = find_scale(session, form.scale_id)
    read = read_balances.average(
        [(getattr(form, f"{way}_1").value, getattr(form, f"{way}_2").value) for way in WAYS],
        None if form.weight.value is None else float(form.weight.value),
        scale,
    )
    told: dict[str, JsonValue] = {}
    prediction = predict(session, drilling, form, form.scale_id) if form.stage == "after" else None
    if not form.as_read:
        _require_expected(session, drilling, form, read, prediction)
    if form.stage == "after":
        told, ruling = _tell(session, drilling, form, read, prediction)
        form = form.model_copy(update={"regulation_id": ruling.regulation.id if ruling else None})
    return weighings.add(session, drilling.ball, form, told, take_typed(form).write())


def _is_cut(session: Session, drilling: Drilling) -> bool:
    """Whether a hole of a drilling may be in the ball: then it would be taken off what was weighed once more."""
    cut = DrillingStep.drilling_id == drilling.id, DrillingStep.is_cut, DrillingStep.ticked_at.is_not(None)
    return drilling.state != "planned" or session.scalar(select(DrillingStep.id).where(*cut).limit(1)) is not None


def _require_expected(
    session: Session, drilling: Drilling, form: BalanceWeighingForm, read: ReadBalance, prediction: Prediction | None
) -> None:
    """Raises InvalidError at what was read otherwise than weight, marks and plan of the ball let expect."""
    if form.stage == "before":
        scale = find_scale(session, form.scale_id)
        prediction = balances.predict_undrilled(session, drilling, take_typed(form), scale)
    label_oz, _ = balance_starts.find_weight(drilling.ball, ball_marks.find_of(session, drilling))
    expected_oz = prediction.drilled_oz if prediction and prediction.drilled_oz is not None else label_oz
    wrong = doubtful_readings.ask_weight(form, expected_oz)
    if prediction and prediction.balance:
        found = ball_kinds.tell_found(read, prediction.start.is_weight_weighed)
        wrong = doubtful_readings.ask_unexplained(form, prediction.balance, found) | wrong
    elif prediction and form.stage == "before":
        wrong |= doubtful_readings.ask_size(form, read, prediction.start.top_oz, prediction.start.top_u_oz)
    doubtful_readings.refuse(wrong)


def _tell(
    session: Session, drilling: Drilling, form: BalanceWeighingForm, read: ReadBalance, prediction: Prediction | None
) -> tuple[dict[str, JsonValue], Ruling | None]:
    told: dict[str, JsonValue] = {
        "half_width_oz": max(read.half_widths_oz),
        "arm_share": read.arm_share,
        "found": dict(zip(WAYS, read.ways, strict=True)),
    }
    weight_oz, u_oz = read.weight_oz, balance_starts.WEIGHED_U_OZ
    if not weight_oz and prediction:
        weight_oz, u_oz = prediction.drilled_oz, prediction.drilled_u_oz
    plan = drilling.current_plan
    ruling = None
    if weight_oz and plan:
        has_thumb = plan.grip.thumb is not None
        ruling = balance_rulings.find_ruling(session, date.today(), form.regulation_id, weight_oz, has_thumb, u_oz)
        if ruling:
            verdict = balance_rulings.judge_weighed(read, ruling)
            told |= _write_verdict(ruling, verdict, weight_oz)
            told["once"] = list[JsonValue](balance_rulings.list_once(read, verdict))
            told["unread"] = list[JsonValue](balance_rulings.list_unread(read, ruling.limits))
    told |= kept_predictions.write(prediction)
    if prediction and prediction.balance:
        told |= _explain(prediction, read)
    return told, ruling


def _write_verdict(ruling: Ruling, verdict: BalanceVerdict | None, weight_oz: float) -> dict[str, JsonValue]:
    of = ruling.regulation
    named: dict[str, JsonValue] = {"edition": of.edition, "source": of.source, "is_example": of.is_example}
    directions: list[JsonValue] = [
        {"direction": one.direction, "state": one.state, "limit_oz": one.limit_oz, "margin_oz": one.margin_oz}
        for one in (verdict.directions if verdict else ())
    ]
    named |= {"unlimited": list[JsonValue](ruling.limits.unlimited if ruling.limits else ())}
    named |= {"is_between_classes": bool(ruling.others), "needs_plus": ruling.needs_plus}
    return named | {"state": verdict.state if verdict else "", "weight_oz": weight_oz, "directions": directions}


def _explain(prediction: Prediction, read: ReadBalance) -> dict[str, JsonValue]:
    predicted = prediction.balance
    assert predicted is not None
    found = ball_kinds.tell_found(read, prediction.start.is_weight_weighed)
    told: dict[str, JsonValue] = {"predicted": _write(predicted.ounces)}
    with suppress(CannotBuildError):
        told |= _write_explanation(explain_difference(predicted, found))
        told["density"] = _write_density(prediction.density, sharpen_density(prediction.density, predicted, found))
    return told


def _write_explanation(explained: Explanation) -> dict[str, JsonValue]:
    shares: list[JsonValue] = [
        {"source": share.source, "change": _write(share.change), "off_by": share.off_by} for share in explained.shares
    ]
    told: dict[str, JsonValue] = {"difference": _write(explained.difference), "is_explained": not explained.beyond}
    return told | {"shares": shares, "rest": _write(explained.rest)}


def _write_density(before: KindDensity, after: KindDensity) -> dict[str, JsonValue]:
    pair = {"before": before, "after": after}
    told: dict[str, JsonValue] = {name: of.density_oz_in3 for name, of in pair.items()}
    return told | {f"{name}_u": of.fraction * of.density_oz_in3 for name, of in pair.items()} | {"balls": after.balls}


def _write(ounces: Ounces) -> dict[str, JsonValue]:
    return dict(zip(_WAYS_AND_WEIGHT, ounces, strict=True))


def list_weighings(session: Session, drilling: Drilling) -> Sequence[Weighing]:
    """Returns the weighings of a drilling, newest first; those taken back too, which count nowhere."""
    return [of for of in weighings.list_of_ball(session, drilling.ball_id) if of.drilling_id == drilling.id]
