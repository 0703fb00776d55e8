from typing import Any

from fastapi import APIRouter, Response

from app.errors import FieldError, InvalidError, ShopError
from app.models.plans import Plan
from app.pages import pictures
from app.pages.admission import PageDep, PageRoute, Posted, QueryId, RecordId
from app.pages.render import Page
from app.schemas.drillings import (
    ClosingForm,
    DrilledForm,
    FindingForm,
    FinishForm,
    FinishReadings,
    PlanChoices,
    PlanForm,
    PluggingForm,
)
from app.services import bench, changes, checks, drillings, measurements, plans, shop_limits, transfers
from app.services.shop_limits import SetLimit
from app.services.work_outs import WorkedOut, work_out

router = APIRouter(route_class=PageRoute)

_NO_NUMBERS: dict[str, Any] = {"plan": None, "worked": None, "picture": None, "sections": [], "checks": []}


def _choices(page: Page, ball_id: int, values: dict[str, str]) -> dict[str, Any]:
    ball, in_force, systems = drillings.choices(page.session, ball_id)
    if "fit_id" not in values and in_force:
        wanted = in_force[0].system_id
        values = {"fit_id": str(in_force[0].id), "system_id": str(wanted or ""), "bore_runs": "like_thumb"} | values
    return {"ball": ball, "fits": in_force, "systems": systems, "values": values, **_preview(page, ball, values)}


def _preview(page: Page, ball: Any, values: dict[str, str]) -> dict[str, Any]:
    """What these choices work out to before anything is stored."""
    try:
        form = PlanChoices.read(values)
        plan, worked = plans.preview(page.session, ball, form)
        return _numbers(plan, worked) | {"trouble": None}
    except ShopError as error:
        trouble = next(iter(error.fields.values()), FieldError(error.message))
        return _NO_NUMBERS | {"trouble": trouble}


def _numbers(plan: Plan, worked: WorkedOut) -> dict[str, Any]:
    notch = None if plan.notch_deg is None or not worked.has_sleeve else float(plan.notch_deg)
    return {
        "plan": plan,
        "worked": worked,
        "picture": pictures.grip_picture(worked.solved, notch),
        "sections": [pictures.section_picture(plan, worked, finger) for finger in ("middle", "ring")],
        "checks": checks.checks(plan, worked),
    }


@router.get("/balls/{ball_id}/drillings/new")
def new(page: PageDep, ball_id: RecordId) -> Response:
    values = {name: value[:200] for name, value in page.request.query_params.items()}
    context = _choices(page, ball_id, values)
    if page.is_fragment:
        return page.show("drillings/form.html", "numbers", **context)
    return page.show("drillings/form.html", **context)


@router.post("/balls/{ball_id}/drillings")
def plan(page: PageDep, ball_id: RecordId, posted: Posted) -> Response:
    """Keeps a plan; or, asked only to work it out, shows its numbers. That is posted too: an address keeps no PIN."""
    if posted.get("only") == "work_out":
        return page.show("drillings/form.html", **_choices(page, ball_id, dict(posted)))
    try:
        ball, _, _ = drillings.choices(page.session, ball_id)
        started = plans.plan_drilling(page.session, ball, page.read(PlanForm, posted))
    except ShopError as error:
        return page.again(error, "drillings/form.html", posted, lambda: _choices(page, ball_id, dict(posted)))
    return page.go(f"/drillings/{started.id}")


def _doubt(spread: SetLimit) -> dict[str, Any]:
    return {"spread": spread, "half_width_in": spread.half_width_in}


def _context(page: Page, drilling_id: int) -> dict[str, Any]:
    drilling = drillings.drilling(page.session, drilling_id)
    numbers = _numbers(drilling.plan, work_out(drilling.plan)) if drilling.plan else _NO_NUMBERS
    spread = shop_limits.limits(page.session)["span_spread"]
    return {
        "drilling": drilling,
        "finished": measurements.compared(drilling, spread),
        **_doubt(spread),
        "history": changes.of_record(page.session, drilling),
        "version": drilling.version,
        "stale": bench.staleness(page.session, drilling),
        "others": [d for d in drillings.of_bowler(page.session, drilling.ball.bowler_id) if d.id != drilling.id],
        **numbers,
    }


@router.get("/drillings/{drilling_id}")
def card(page: PageDep, drilling_id: RecordId) -> Response:
    return page.show("drillings/show.html", **_context(page, drilling_id))


@router.get("/drillings/{drilling_id}/finish")
def finish(page: PageDep, drilling_id: RecordId, middle: str = "", ring: str = "") -> Response:
    """Predicted against measured while it is typed; nothing is stored."""
    drilling = drillings.drilling(page.session, drilling_id)
    plan = drillings.plan_of(drilling)
    spread = shop_limits.limits(page.session)["span_spread"]
    context: dict[str, Any] = {"drilling": drilling, "finished": None, "trouble": None, **_doubt(spread)}
    try:
        form = FinishReadings.read({"middle": middle, "ring": ring})
        read = measurements.with_another(measurements.built_pairs(drilling), form)
        context["finished"] = measurements.compare_spans(plan, drilling.tolerance_in, read, spread)
    except InvalidError as error:
        field, problem = next(iter(error.fields.items()))
        context["trouble"] = f"{field}: {problem.message}" if middle and ring else ""
    return page.show("drillings/show.html", "verdict", **context)


@router.get("/drillings/{drilling_id}/comparison")
def comparison(page: PageDep, drilling_id: RecordId, other: QueryId) -> Response:
    """Two drillings side by side in felt terms, the older first."""
    a, b = (drillings.drilling(page.session, i) for i in sorted((drilling_id, other)))
    if a.ball.bowler_id != b.ball.bowler_id:
        raise InvalidError("Those two drillings are of two bowlers: there is nothing to compare.")
    return page.show("drillings/comparison.html", a=a, b=b, lines=transfers.compare(page.session, a, b))


def _step(page: Page, drilling_id: int, posted: dict[str, str], step: str) -> Response:
    """One step of a drilling's life; a refusal shows its page again with that step's form as typed."""
    steps: dict[str, tuple[Any, Any]] = {
        "drilled": (drillings.mark_drilled, DrilledForm),
        "measurements": (measurements.measure, FinishForm),
        "closing": (measurements.close, ClosingForm),
        "plugging": (drillings.plug, PluggingForm),
        "findings": (measurements.add_finding, FindingForm),
    }
    act, form = steps[step]
    try:
        act(page.session, drilling_id, page.read(form, posted))
    except ShopError as error:
        return page.again(error, "drillings/show.html", posted, lambda: _context(page, drilling_id), step)
    return page.go(f"/drillings/{drilling_id}")


@router.post("/drillings/{drilling_id}/drilled")
def mark_drilled(page: PageDep, drilling_id: RecordId, posted: Posted) -> Response:
    return _step(page, drilling_id, posted, "drilled")


@router.post("/drillings/{drilling_id}/measurements")
def measure(page: PageDep, drilling_id: RecordId, posted: Posted) -> Response:
    return _step(page, drilling_id, posted, "measurements")


@router.post("/drillings/{drilling_id}/closing")
def close(page: PageDep, drilling_id: RecordId, posted: Posted) -> Response:
    return _step(page, drilling_id, posted, "closing")


@router.post("/drillings/{drilling_id}/plugging")
def plug(page: PageDep, drilling_id: RecordId, posted: Posted) -> Response:
    return _step(page, drilling_id, posted, "plugging")


@router.post("/drillings/{drilling_id}/findings")
def find(page: PageDep, drilling_id: RecordId, posted: Posted) -> Response:
    return _step(page, drilling_id, posted, "findings")
