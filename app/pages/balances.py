from collections.abc import Mapping
from contextlib import suppress
from datetime import date
from urllib.parse import urlencode

from fastapi import Response

from app.calculation.ball_densities import STARTING_SCATTER_SHARE, STARTING_SHARE
from app.errors import InvalidError, ShopError
from app.models import Drilling, Weighing
from app.pages.admission import PageDep, PageRouter, Posted, RecordId
from app.pages.balance_pictures import draw_balance
from app.pages.balance_tables import list_rows
from app.pages.render import Page, Shown
from app.schemas.balance_views import BalanceWeighingForm, LookForm, RemedyForm
from app.schemas.taken_back import TakingBackForm
from app.services import (
    balance_changes,
    balance_rulings,
    bench,
    drillings,
    layout_choices,
    scales,
    weighed_balances,
    weighings,
)
from app.services.balance_holes import INSERT_OZ_IN3, MOST_BY_TILT_OZ, SLEEVE_OZ_IN3
from app.services.balance_rulings import Ruling
from app.services.balances import Prediction
from app.services.read_balances import ARM_U_SHARE, ASSUMED_STEP_OZ, READ_ONCE_U_OZ, ZERO_U_OZ
from app.services.work_outs import work_out

router = PageRouter()
_TEMPLATE = "drillings/balance.html"
_LOOK = ("regulation_id", "scale_for_arm", "start_top", "along", "along_way", "across", "across_way")

# starting values without a source, as the page marks them
_ASSUMED = {
    "insert": INSERT_OZ_IN3,
    "sleeve": SLEEVE_OZ_IN3,
    "scatter": STARTING_SCATTER_SHARE,
    "fills": STARTING_SHARE,
    "reading": READ_ONCE_U_OZ,
    "step": ASSUMED_STEP_OZ,
    "zero": ZERO_U_OZ,
    "arm": ARM_U_SHARE,
    "tilt": MOST_BY_TILT_OZ,
}


def _load(page: Page, drilling_id: int, asked: Mapping[str, str]) -> Shown:
    """What the page shows; a look that cannot be counted with is shown as typed, with what is wrong at its fields."""
    drilling = bench.get_drilling(page.session, drilling_id, *drillings.AS_BUILT)
    shown: Shown = {"values": dict(asked), "errors": {}, "refused": ""}
    look = RemedyForm.read({})
    prediction = None
    try:
        look = RemedyForm.read(asked)
        prediction = weighed_balances.predict(page.session, drilling, look)
    except InvalidError as error:
        is_of_changes = any(name.startswith("far_") for name in error.fields)
        shown |= {"errors": error.fields, "refused": "remedy" if is_of_changes else "look"}
        with suppress(InvalidError):
            look = RemedyForm.read({name: asked.get(name, "") for name in _LOOK} if is_of_changes else {})
            prediction = weighed_balances.predict(page.session, drilling, look)
    shown |= _tell(page, drilling, prediction, look) | _find_remedies(page, prediction, look)
    usual = {f"far_{change.name}": change.usual for change in shown["offered"]}
    return shown | {"asked": usual | dict(asked)}


def _tell(page: Page, drilling: Drilling, prediction: Prediction | None, look: LookForm) -> Shown:
    ruling = _find_ruling(page, prediction, look)
    verdict = balance_rulings.judge_prediction(prediction, ruling) if prediction else None
    told = weighed_balances.list_weighings(page.session, drilling)
    after = next((of for of in told if of.stage == "after" and not of.taken_back_at), None)
    weighed = _read_found(after)
    plan = drilling.current_plan
    carried = {name: _take_text(page, name) for name in _LOOK}
    typed = {name: text for name, text in carried.items() if text}
    return {
        "drilling": drilling,
        "plan": plan,
        "stale_layout": layout_choices.list_stale_in(page.session, drilling),
        "prediction": prediction,
        "ruling": ruling,
        "other_ruling": _find_other_ruling(page, prediction, look, ruling),
        "regulations": balance_rulings.list_choices(page.session, date.today()),
        "verdict": verdict,
        "judged": {one.direction: one for one in verdict.directions} if verdict else {},
        "picture": draw_balance(prediction, ruling.strictest if ruling else None, weighed),
        "weighed": weighed or (None, None, None),
        "weighings": told,
        "explained": {of.id: list_rows(of.verdict) for of in told},
        "last": after,
        "scales": [of for of in scales.list_scales(page.session, own_only=True) if not of.retired_at],
        "scale": weighed_balances.find_scale(page.session, look.scale_for_arm),
        "carried": carried,
        "here": f"/drillings/{drilling.id}/balance" + (f"?{urlencode(typed)}" if typed else ""),
        "version": drilling.version,
        "assumed": _ASSUMED,
        "assumed_depths": work_out(plan).depths_nobody_gave if plan else [],
    }


def _take_text(page: Page, name: str) -> str:
    """What was asked by this name, in the address or in a form."""
    return (page.posted.get(name) or page.request.query_params.get(name) or "")[:120]


def _find_ruling(page: Page, prediction: Prediction | None, look: LookForm) -> Ruling | None:
    if prediction is None or prediction.drilled_oz is None:
        return None
    return balance_rulings.find_ruling(
        page.session,
        date.today(),
        look.regulation_id,
        prediction.drilled_oz,
        prediction.has_thumb,
        prediction.drilled_u_oz,
    )


def _find_other_ruling(
    page: Page, prediction: Prediction | None, look: LookForm, ruling: Ruling | None
) -> Ruling | None:
    """The one in force that has limits for this ball, where the one that was chosen has none."""
    if ruling is None or ruling.limits or look.regulation_id is None:
        return None
    other = _find_ruling(page, prediction, look.model_copy(update={"regulation_id": None}))
    return other if other and other.limits else None


def _read_found(of: Weighing | None) -> tuple[float | None, ...]:
    found = of.verdict.get("found") if of else None
    if not isinstance(found, dict):
        return ()
    values = [found.get(way) for way in ("right", "finger", "top")]
    return tuple(float(value) if isinstance(value, int | float) else None for value in values)


def _find_remedies(page: Page, prediction: Prediction | None, look: RemedyForm) -> Shown:
    """The changes that may be ticked, and the remedies among those that are; None before any is."""
    ruling = _find_ruling(page, prediction, look)
    if prediction is None or prediction.balance is None or (ruling and ruling.not_in_force):
        return {"offered": [], "remedies": None}
    offered = balance_changes.list_changes(prediction)
    limits = ruling.strictest if ruling else None
    if not look.far or limits is None:
        return {"offered": offered, "remedies": None}
    try:
        return {"offered": offered, "remedies": balance_changes.solve(prediction, limits, look.far)}
    except InvalidError as error:
        return {"offered": offered, "remedies": None, "errors": error.fields, "refused": "remedy"}


@router.get("/drillings/{drilling_id}/balance")
def show_balance(page: PageDep, drilling_id: RecordId) -> Response:
    """The balance that a drilling leads to, under the regulation in force, and how it was weighed."""
    asked = {name: value[:120] for name, value in page.request.query_params.items()}
    context = _load(page, drilling_id, asked)
    return page.show(_TEMPLATE, status=422 if context["errors"] else 200, **context)


@router.post("/drillings/{drilling_id}/weighings")
def add_weighing(page: PageDep, drilling_id: RecordId, posted: Posted) -> Response:
    drilling = bench.get_drilling(page.session, drilling_id, *drillings.AS_BUILT)
    look = {name: posted.get(name, "") for name in _LOOK}
    try:
        weighed_balances.add(page.session, drilling, page.read(BalanceWeighingForm, posted))
    except ShopError as error:
        return page.show_refused(error, _TEMPLATE, posted, lambda: _load(page, drilling_id, look), "weigh")
    return page.redirect(f"/drillings/{drilling_id}/balance#weighings")


@router.post("/weighings/{weighing_id}/taking-back")
def take_back(page: PageDep, weighing_id: RecordId, posted: Posted) -> Response:
    """Marks a weighing as a mistake; it is kept, and counts nowhere."""
    of = weighings.get_weighing(page.session, weighing_id)
    drilling_id = of.drilling_id or 0
    try:
        weighings.take_back(page.session, weighing_id, page.read(TakingBackForm, posted))
    except ShopError as error:
        return page.show_refused(error, _TEMPLATE, posted, lambda: _load(page, drilling_id, {}), f"back-{of.id}")
    return page.redirect(f"/drillings/{drilling_id}/balance#weighings")
