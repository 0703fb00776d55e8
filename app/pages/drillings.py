from datetime import date
from typing import Any

from fastapi import Response

from app.errors import FieldError, InvalidError, ShopError
from app.models import Ball, Drilling
from app.models.plans import Plan
from app.pages import charts, layout_views, overlays, pictures, plan_views, sections
from app.pages.admission import PageDep, PageRouter, Posted, QueryId, RecordId
from app.pages.render import Page
from app.schemas.drillings import (
    ClosingForm,
    DepthReadingForm,
    DrilledForm,
    FindingForm,
    FinishForm,
    FinishReadings,
    PlanChoices,
    PlanForm,
    PluggingForm,
)
from app.schemas.taken_back import TakingBackForm
from app.services import (
    bench,
    bench_paper,
    bench_stops,
    changes,
    checks,
    drillings,
    felt,
    inners,
    late_depths,
    measurements,
    old_holes,
    owned_rims,
    paper_checks,
    plans,
    shop_limits,
    side_by_side,
    stale_plans,
    taken_back,
    ticket_reads,
)
from app.services.measurements import SpanComparison
from app.services.work_outs import WorkedOut, work_out

router = PageRouter()

_NO_NUMBERS: dict[str, object] = {
    "plan": None, "worked": None, "picture": None, "sections": [], "checks": [], "failing": [],
    "owned": None, "rim": None, "seen": [], "answer": None,
}  # fmt: skip


def _load_choices(page: Page, ball_id: int, values: dict[str, str]) -> dict[str, Any]:
    ball, in_force, systems = drillings.list_choices(page.session, ball_id)
    is_choice_open = "fit_id" not in values and len(in_force) > 1  # which hand is a choice to be seen
    if "fit_id" not in values and in_force:
        wanted = in_force[0].system_id
        values = {"fit_id": str(in_force[0].id), "system_id": str(wanted or ""), "bore_runs": "like_thumb"} | values
    values = {"inner_kind": "loaded", "fitted_by": "feel"} | values
    owned = [inner for inner in inners.list_of_bowler(page.session, ball.bowler_id) if not inner.retired_at]
    choices = {"ball": ball, "fits": in_force, "systems": systems, "inners": owned, "values": values}
    choices |= {"cards": [paper_checks.find_doubt(page.session, fit) for fit in in_force]}
    choices |= {"is_choice_open": is_choice_open, "is_fragment": page.is_fragment}
    return choices | _preview(page, ball, values)


def _preview(page: Page, ball: Ball, values: dict[str, str]) -> dict[str, Any]:
    """What these choices work out to before anything is stored."""
    try:
        form = PlanChoices.read(values)
        plan, worked = plans.preview(page.session, ball, form)
        return _draw_numbers(plan, worked) | {"refusal": None, "refused_fields": {}}
    except ShopError as error:
        refusal = next(iter(error.fields.values()), FieldError(error.message))
        return _NO_NUMBERS | {"refusal": refusal, "refused_fields": error.fields}


def _draw_numbers(plan: Plan, worked: WorkedOut) -> dict[str, Any]:
    owned = owned_rims.predict_rim(plan)
    rim = None
    if owned and owned.flushness and plan.owned:
        sits = plan.owned.half_width_in, plan.owned.lip_in, plan.owned.outside_in
        rim = charts.draw_rim(owned.flushness, *sits)
    found = checks.run_checks(plan, worked)
    return {
        "owned": owned,
        "rim": rim,
        "plan": plan,
        "worked": worked,
        "picture": pictures.draw_grip(worked.solved, plan.notch_deg, plan.old_holes),
        "sections": sections.draw_sections(plan, worked),
        "checks": found,
        "failing": checks.pick_failing(found),
        "seen": plan_views.list_open(plan, worked, found),
        "answer": plan_views.answer_plan(plan, found, owned),
    }


def _mend(posted: dict[str, str]) -> dict[str, str]:
    """Returns the posted form with the one field changed that a fix names, such as `point=180`."""
    field, _, value = posted.get("fix", "").partition("=")
    return posted | ({field: value} if field in checks.FIXED_FIELDS else {})


@router.get("/balls/{ball_id}/drillings/new")
def show_plan_form(page: PageDep, ball_id: RecordId) -> Response:
    values = {name: value[:200] for name, value in page.request.query_params.items()}
    context = _load_choices(page, ball_id, values)
    if page.is_fragment:
        return page.show("drillings/form.html", "numbers", **context)
    return page.show("drillings/form.html", **context)


@router.post("/balls/{ball_id}/drillings")
def plan_drilling(page: PageDep, ball_id: RecordId, posted: Posted) -> Response:
    """Keeps a plan; or, asked only to work it out, shows its numbers. That is posted too: an address keeps no PIN.

    A fix of a failing check changes one field, and the plan is worked out again.
    """
    if posted.get("only") == "work_out" or "fix" in posted:
        context = _load_choices(page, ball_id, _mend(posted))
        return page.show("drillings/form.html", errors=context["refused_fields"], **context)
    try:
        ball, _, _ = drillings.list_choices(page.session, ball_id)
        started = plans.plan_drilling(page.session, ball, page.read(PlanForm, posted))
    except ShopError as error:
        return page.show_refused(
            error, "drillings/form.html", posted, lambda: _load_choices(page, ball_id, dict(posted))
        )
    return page.redirect(f"/drillings/{started.id}")


def _load_context(page: Page, drilling_id: int) -> dict[str, Any]:
    drilling = bench.get_drilling(page.session, drilling_id, *drillings.AS_BUILT)
    numbers: dict[str, Any] = _NO_NUMBERS
    if drilling.plan:
        numbers = _draw_numbers(drilling.plan, work_out(drilling.plan))
    finished = measurements.compare_built(drilling)
    laid = layout_views.show_in_drilling(page.session, drilling)
    return {
        "drilling": drilling,
        **_draw_finish(drilling, finished),
        "lines": side_by_side.list_lines(drilling, None if drilling.state == "drilled" else finished),
        "answers": bench_stops.list_answers(page.session, drilling),
        "unsettling": checks.describe_unsettling(drilling.current_plan),
        "needs_reason": drilling.state == "planned" and _needs_reason(page, drilling, laid),
        "today": date.today().isoformat(),
        "unread": late_depths.list_unread(drilling, drilling.bore),
        "inner": inners.find_in_drilling(page.session, drilling),
        "rim_read": owned_rims.compare_rim(page.session, drilling),
        "first_cut": taken_back.find_first_cut(drilling),
        "obstacle": taken_back.find_obstacle(page.session, drilling) if drilling.called_off_at else "",
        "card": paper_checks.find_doubt(page.session, drilling.fit),
        "ticket": ticket_reads.find_of_drilling(page.session, drilling.id),
        "laid": laid,
        "history": changes.list_record_lines(page.session, drilling),
        "version": drilling.version,
        "stale": stale_plans.find_staleness(page.session, drilling),
        "old_holes_changed": old_holes.have_changed(page.session, drilling),
        "others": [d for d in drillings.list_of_bowler(page.session, drilling.ball.bowler_id) if d.id != drilling.id],
        **numbers,
        "answer": plan_views.judge_with_layout(numbers["answer"], laid.conflicts, laid.stale),
    }


def _draw_finish(drilling: Drilling, finished: SpanComparison | None) -> dict[str, Any]:
    """The grip as measured, before that as planned, and each part against the tolerance."""
    plan = drilling.current_plan
    if plan is None:
        return {"finished": finished, "finish_worked": None, "finish_picture": None, "deviations": None}
    worked = work_out(plan)
    shown = finished.as_drilled if finished else worked.solved
    return {
        "finished": finished,
        "finish_worked": worked,
        "finish_picture": pictures.draw_grip(shown, plan.notch_deg, plan.old_holes, is_from_sleeve=True),
        "deviations": charts.draw_deviations(finished, float(drilling.tolerance_in)) if finished else None,
    }


def _needs_reason(page: Page, drilling: Drilling, laid: layout_views.LaidDrilling) -> bool:
    """Whether the plan as met fails a check, or is in conflict with its layout, and nobody gave a reason for it."""
    plan = drilling.current_plan
    failing = checks.pick_failing(checks.run_checks(plan, work_out(plan))) if plan else []
    return bool(failing or laid.conflicts) and not drillings.find_reason(page.session, drilling)


@router.get("/drillings/{drilling_id}")
def show_drilling(page: PageDep, drilling_id: RecordId) -> Response:
    return page.show("drillings/show.html", **_load_context(page, drilling_id))


@router.get("/drillings/{drilling_id}/finish")
def compare_typed(page: PageDep, drilling_id: RecordId, middle: str = "", ring: str = "", bridge: str = "") -> Response:
    """Predicted against measured while it is typed; nothing is stored."""
    drilling = drillings.get_drilling(page.session, drilling_id)
    plan = drillings.get_current_plan(drilling)
    doubt = measurements.take_doubt(shop_limits.load_limits(page.session))
    unsettling = checks.describe_unsettling(plan)
    typed = {"middle": middle, "ring": ring, "bridge": bridge}
    context: dict[str, Any] = {"drilling": drilling, "refusal": None, "unsettling": unsettling}
    context |= _draw_finish(drilling, None)
    try:
        form = FinishReadings.read(typed | ({} if plan.grip.thumb else {"is_reached": "true"}))
        read = measurements.add_typed_pair(plan, measurements.list_built_pairs(drilling), form)
        context |= _draw_finish(drilling, measurements.compare_spans(plan, drilling.tolerance_in, read, doubt))
    except InvalidError as error:
        field, problem = next(iter(error.fields.items()))
        is_typed = all(typed[part] for part in work_out(plan).predictions_in)
        context["refusal"] = f"{field}: {problem.message}" if is_typed else ""
    return page.show("drillings/show.html", "verdict", **context)


@router.get("/drillings/{drilling_id}/comparison")
def show_comparison(page: PageDep, drilling_id: RecordId, other: QueryId) -> Response:
    """Two drillings side by side in felt terms, the older first."""
    a, b = (drillings.get_drilling(page.session, i) for i in sorted((drilling_id, other)))
    if a.ball.bowler_id != b.ball.bowler_id:
        raise InvalidError("Those two drillings are of two bowlers: there is nothing to compare.")
    felts = felt.work_out_felt(a), felt.work_out_felt(b)
    drawn = overlays.draw_overlay(felts[0].solved, felts[1].solved) if felts[0] and felts[1] else None
    return page.show(
        "drillings/comparison.html", a=a, b=b, lines=felt.compare_drillings(page.session, a, b), drawn=drawn
    )


def _take_step(page: Page, drilling_id: int, posted: dict[str, str], step: str) -> Response:
    """One step of a drilling's life; a refusal shows its page again with that step's form as typed."""
    steps: dict[str, tuple[Any, Any]] = {
        "drilled": (bench_paper.finish_on_paper, DrilledForm),
        "measurements": (measurements.record_measurement, FinishForm),
        "closing": (measurements.close_drilling, ClosingForm),
        "plugging": (bench.plug, PluggingForm),
        "findings": (measurements.add_finding, FindingForm),
        "depth-readings": (late_depths.add_depth, DepthReadingForm),
        "calling-off": (taken_back.call_off, TakingBackForm),
        "calling-off-removal": (taken_back.restore_plan, TakingBackForm),
    }
    act, form = steps[step]
    try:
        act(page.session, drilling_id, page.read(form, posted))
    except ShopError as error:
        return page.show_refused(error, "drillings/show.html", posted, lambda: _load_context(page, drilling_id), step)
    return page.redirect(f"/drillings/{drilling_id}")


@router.post("/drillings/{drilling_id}/drilled")
def mark_drilled(page: PageDep, drilling_id: RecordId, posted: Posted) -> Response:
    return _take_step(page, drilling_id, posted, "drilled")


@router.post("/drillings/{drilling_id}/measurements")
def record_measurement(page: PageDep, drilling_id: RecordId, posted: Posted) -> Response:
    return _take_step(page, drilling_id, posted, "measurements")


@router.post("/drillings/{drilling_id}/closing")
def close_drilling(page: PageDep, drilling_id: RecordId, posted: Posted) -> Response:
    return _take_step(page, drilling_id, posted, "closing")


@router.post("/drillings/{drilling_id}/plugging")
def plug(page: PageDep, drilling_id: RecordId, posted: Posted) -> Response:
    return _take_step(page, drilling_id, posted, "plugging")


@router.post("/drillings/{drilling_id}/calling-off")
def call_off(page: PageDep, drilling_id: RecordId, posted: Posted) -> Response:
    return _take_step(page, drilling_id, posted, "calling-off")


@router.post("/drillings/{drilling_id}/calling-off-removal")
def restore_plan(page: PageDep, drilling_id: RecordId, posted: Posted) -> Response:
    return _take_step(page, drilling_id, posted, "calling-off-removal")


@router.post("/drillings/{drilling_id}/findings")
def add_finding(page: PageDep, drilling_id: RecordId, posted: Posted) -> Response:
    return _take_step(page, drilling_id, posted, "findings")


@router.post("/drillings/{drilling_id}/depth-readings")
def add_depth(page: PageDep, drilling_id: RecordId, posted: Posted) -> Response:
    """A depth that nobody read at the bench, read later."""
    return _take_step(page, drilling_id, posted, "depth-readings")
