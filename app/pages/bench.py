"""The bench: one next cut at a time, readable from the press."""

from collections.abc import Callable
from typing import Any

from fastapi import APIRouter, Response
from fastapi.responses import JSONResponse

from app.closed_sets import StopChoice
from app.errors import ShopError
from app.measures.wording import inches
from app.models import BenchStop, DrillingStep
from app.pages.admission import PageDep, PageRoute, Posted, RecordId
from app.pages.render import Page
from app.schemas.drillings import ConfirmationForm, DecisionForm, SkipForm, TickForm
from app.schemas.forms import SignedForm
from app.services import bench, bench_stops, bits, checks, inners, old_holes, sign_ins
from app.services.as_met import Answer
from app.services.work_outs import work_out

router = APIRouter(prefix="/drillings/{drilling_id}", route_class=PageRoute)


def _load_context(page: Page, drilling_id: int) -> dict[str, Any]:
    drilling = bench.get_drilling(page.session, drilling_id)
    step = bench.find_next_step(drilling)
    plan = drilling.current_plan
    found = checks.run_checks(plan, work_out(plan)) if plan else []
    passed = [s for s in drilling.steps if s.ticked_at]
    stop = bench_stops.find_open_stop(drilling) if drilling.state == "planned" else None
    looked_at = stop.position if stop else passed[-1].position if passed else None
    answers = bench_stops.list_answers(page.session, drilling, looked_at) if looked_at else []
    told = answers[0][1] if answers else None
    return {
        "drilling": drilling,
        "plan": plan,
        "inner": inners.find_in_drilling(page.session, drilling),
        "step": step,
        "passed": passed,
        "stop": stop,
        "told": told,
        "ways": _list_ways(told, passed, stop) if stop else [],
        "fixes": bench_stops.list_fixes(drilling) if stop else [],
        "is_paused": bench.needs_pause(drilling, step),
        "failing": checks.pick_failing(found),
        "stale": bench.find_staleness(page.session, drilling),
        "old_holes_changed": old_holes.have_changed(page.session, drilling),
        "version": drilling.version,
        "by_another": None,
        "bit_notes": bits.list_signals(page.session),
        "seen": step.position if step else 0,
    }


def _list_ways(told: Answer | None, passed: list[DrillingStep], stop: BenchStop) -> list[tuple[StopChoice, str]]:
    """How to go on from a stop, what can be undone first; an earlier step's tick cannot, after a depth read later."""
    last = passed[-1]
    ways: list[tuple[StopChoice, str]] = []
    if last.position == stop.position:
        ways.append(("take_back", _describe_taking_back(told, last)))
    if told and told.shim_in:
        ways.append(("shim", "shim under the sleeve"))
    return [
        *ways,
        ("plan_rest", "plan the steps not yet done again, from what has been cut"),
        ("carry_on", "carry on, with a reason"),
        ("hand_over", "stop and hand over"),
        ("plug", "plug it: the hole is filled"),
    ]


def _describe_taking_back(told: Answer | None, met: DrillingStep) -> str:
    """What can be done at a step whose tick is taken back: cut on where that is enough, set or read again."""
    if met.action == "read_rim":
        return "take the tick back: misread, or read it again once it is put right"
    if not met.is_cut:
        return "take the tick back: mistyped, or set it again"
    further = []
    if told and told.widen_in:
        further.append(f"bore on with the {inches(told.widen_in)} bit")
    if told and told.deepen_in:
        further.append(f"cut on by {inches(told.deepen_in)}")
    return (
        f"take the tick back: mistyped, or {' and '.join(further)}, then tick again"
        if further
        else ("take the tick back: it was mistyped")
    )


@router.get("/bench")
def show_bench(page: PageDep, drilling_id: RecordId, ticked: int = 0, seen: int = 0) -> Response:
    """The one next step; after a tick that somebody else had made already, says so."""
    context = _load_context(page, drilling_id)
    context["by_another"] = next((s for s in context["passed"] if s.position == ticked), None) if ticked else None
    context["seen"] = seen or context["seen"]
    if page.is_fragment:
        return page.show("drillings/bench.html", "others", **context)
    return page.show("drillings/bench.html", **context)


@router.post("/confirmation")
def confirm(page: PageDep, drilling_id: RecordId, posted: Posted) -> Response:
    try:
        bench.confirm(page.session, drilling_id, page.read(ConfirmationForm, posted))
    except ShopError as error:
        return page.show_refused(error, "drillings/bench.html", posted, lambda: _load_context(page, drilling_id))
    return page.redirect(f"/drillings/{drilling_id}/bench")


@router.post("/tick-passes")
def make_pass(page: PageDep, drilling_id: RecordId, posted: Posted) -> Response:
    """What a browser without a network keeps in the place of a PIN, for the person whose initials are tapped."""
    try:
        page.read(SignedForm, posted)
        bench.get_drilling(page.session, drilling_id)
        return JSONResponse({"pass": sign_ins.make_pass(page.session, page.me(), drilling_id)})
    except ShopError as error:
        page.session.rollback()
        told = next(iter(error.fields.values()), None)
        return JSONResponse({"message": told.message if told else error.message}, error.status)


@router.post("/steps/{position}/tick")
def tick(page: PageDep, drilling_id: RecordId, position: RecordId, posted: Posted) -> Response:
    """Ticking is safe to send twice: the second time changes nothing and shows who was first."""
    try:
        form = page.read(TickForm, posted)
        is_new = not bench.is_ticked(page.session, drilling_id, position)
        bench.tick(page.session, drilling_id, position, form)
    except ShopError as error:
        return page.show_refused(error, "drillings/bench.html", posted, lambda: _load_context(page, drilling_id))
    return page.redirect(f"/drillings/{drilling_id}/bench" + ("" if is_new else f"?ticked={position}"))


def _act(page: Page, drilling_id: int, posted: dict[str, str], refused: str, act: Callable[[], object]) -> Response:
    """Acts at the bench; a refusal shows it again with that form as typed."""
    try:
        act()
    except ShopError as error:
        return page.show_refused(
            error, "drillings/bench.html", posted, lambda: _load_context(page, drilling_id), refused
        )
    return page.redirect(f"/drillings/{drilling_id}/bench")


@router.post("/steps/{position}/tick-removal")
def untick(page: PageDep, drilling_id: RecordId, position: RecordId, posted: Posted) -> Response:
    def act() -> None:
        form = page.read(SignedForm, posted)
        bench.untick(page.session, drilling_id, position, form.who, form.version)

    return _act(page, drilling_id, posted, "tick-removal", act)


@router.post("/steps/{position}/skip")
def skip(page: PageDep, drilling_id: RecordId, position: RecordId, posted: Posted) -> Response:
    def act() -> None:
        bench.skip(page.session, drilling_id, position, page.read(SkipForm, posted))

    return _act(page, drilling_id, posted, "skip", act)


@router.post("/decision")
def decide(page: PageDep, drilling_id: RecordId, posted: Posted) -> Response:
    """Decides how to go on where what was met is beyond a limit."""

    def act() -> None:
        bench.decide(page.session, drilling_id, page.read(DecisionForm, posted))

    return _act(page, drilling_id, posted, "decision", act)
