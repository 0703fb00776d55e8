"""The bench: one next screen at a time, readable from the press.

A screen's form carries the positions of its steps; the reading it is about has plain names and belongs to the step of
the address, those of the steps before it have their step's prefix (`bench_views.name_prefix`).
"""

from collections.abc import Callable
from typing import Any

from fastapi import Response
from fastapi.responses import JSONResponse

from app.closed_sets import StopChoice
from app.errors import InvalidError, ShopError
from app.models import BenchStop, Drilling, DrillingStep
from app.pages import bench_views, layout_views, pictures, plan_views, sections
from app.pages.admission import PageDep, PageRouter, Posted, RecordId
from app.pages.formats import format_inches
from app.pages.render import Page
from app.schemas.drillings import ConfirmationForm, DecisionForm, SkipForm, TickForm
from app.schemas.forms import SignedForm, read_id
from app.services import (
    bench,
    bench_screens,
    bench_stops,
    bits,
    checks,
    inners,
    old_holes,
    part_uses,
    sign_ins,
    stale_plans,
    ticket_reads,
)
from app.services.as_met import Answer
from app.services.bench_screens import Screen
from app.services.work_outs import work_out

router = PageRouter(prefix="/drillings/{drilling_id}")
_AT_THE_SLEEVE = {"drop_in", "glue", "glue_slug"}
_OF_THE_POST = ("who", "pin", "pass", "version")  # fields of a screen's form that are of no one step


def _load_context(page: Page, drilling_id: int) -> dict[str, Any]:
    drilling = bench.get_drilling(page.session, drilling_id)
    step = bench.find_next_step(drilling)
    plan = drilling.current_plan
    found = checks.run_checks(plan, work_out(plan)) if plan else []
    passed = [s for s in drilling.steps if s.ticked_at]
    screens = bench_screens.list_screens(drilling)
    stop = bench_stops.find_open_stop(drilling) if drilling.state == "planned" else None
    looked_at = stop.position if stop else passed[-1].position if passed else None
    answers = bench_stops.list_answers(page.session, drilling, looked_at) if looked_at else []
    told = answers[0][1] if answers else None
    ticket = ticket_reads.find_of_drilling(page.session, drilling.id)
    return {
        "drilling": drilling,
        "plan": plan,
        "inner": inners.find_in_drilling(page.session, drilling),
        "step": step,
        "screens": screens,
        "view": _build_view(screens, step) if step else None,
        "back": bench_screens.find_screen(screens, passed[-1]).passed if passed else [],
        "passed": passed,
        "stop": stop,
        "told": told,
        "ways": _list_ways(told, drilling, stop) if stop else [],
        "fixes": bench_stops.list_fixes(drilling) if stop else [],
        "is_paused": bench.needs_pause(drilling, step),
        "failing": checks.pick_failing(found),
        "stale": stale_plans.find_staleness(page.session, drilling),
        "old_holes_changed": old_holes.have_changed(page.session, drilling),
        "version": drilling.version,
        "by_another": None,
        "bit_notes": bits.list_signals(page.session),
        "ticket": ticket,
        "called_off": None if ticket else ticket_reads.find_called_off(page.session, drilling.id),
        "seen": step.position if step else 0,
        **_load_layout(page, drilling),
        **_load_shelf(page, drilling, step, screens),
        **_draw(drilling, step),
    }


def _load_layout(page: Page, of: Drilling) -> dict[str, object]:
    laid = layout_views.show_in_drilling(page.session, of, is_drawn=False)
    return {"laid": laid, "layout": laid.layout, "apart": plan_views.describe_conflicts(laid.conflicts)}


def _load_shelf(page: Page, of: Drilling, due: DrillingStep | None, screens: list[Screen]) -> dict[str, object]:
    """What lies on the shelf for the due screen: lots to choose from, glue to open, and what is wrong with a lot."""
    screen = bench_screens.find_screen(screens, due) if due else None
    if screen is None or of.state != "planned":
        return {"lots": [], "lot_warning": ""}
    actions = {step.action for step in screen.due}
    glues = part_uses.list_glues(page.session) if actions & set(part_uses.GLUES) else []
    offers = part_uses.list_offers(page.session, of, screen.due)
    return {
        "lots": bench_views.list_lot_choices(screen, offers, glues),
        "lot_warning": part_uses.warn_outside(page.session, of) if actions & _AT_THE_SLEEVE else "",
    }


def _build_view(screens: list[Screen], due: DrillingStep) -> bench_views.View:
    screen = bench_screens.find_screen(screens, due)
    return bench_views.build_view(screen, screens[: screen.number - 1])


def _draw(of: Drilling, step: DrillingStep | None) -> dict[str, object]:
    """The ball and the section of a drilling as planned, or as met so far; at the end with what is to be measured."""
    if of.current_plan is None:
        return {"picture": None, "sections": []}
    worked = work_out(of.current_plan)
    return {
        "picture": pictures.draw_grip(
            worked.solved,
            of.current_plan.notch_deg,
            of.current_plan.old_holes,
            is_from_sleeve=step is not None and step.action == "measure",
        ),
        "sections": sections.draw_sections(of.current_plan, worked),
    }


def _list_ways(told: Answer | None, of: Drilling, stop: BenchStop) -> list[tuple[StopChoice, str]]:
    """How to go on from a stop, what can be undone first; ticks of an earlier screen cannot, after a late depth."""
    last = max(step.position for step in of.steps if step.ticked_at)
    with_it = bench_screens.list_ticked_with(of, stop.position)
    ways: list[tuple[StopChoice, str]] = []
    if last in with_it:
        met = next(step for step in of.steps if step.position == stop.position)
        is_cut_since = any(step.is_cut for step in of.steps if step.position in with_it and step is not met)
        ways.append(
            ("take_back", "take the ticks back: mistyped" if is_cut_since else _describe_taking_back(told, met))
        )
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
        further.append(f"bore on with the {format_inches(told.widen_in)} bit")
    if told and told.deepen_in:
        further.append(f"cut on by {format_inches(told.deepen_in)}")
    return (
        f"take the tick back: mistyped, or {' and '.join(further)}, then tick again"
        if further
        else ("take the tick back: it was mistyped")
    )


@router.get("/bench")
def show_bench(page: PageDep, drilling_id: RecordId, ticked: int = 0, seen: int = 0) -> Response:
    """The one next step; after a tick that somebody else had made already, says so."""
    if page.is_fragment:  # asked every few seconds by every open bench, so nothing is worked out or drawn for it
        drilling = bench.get_drilling(page.session, drilling_id)
        step, passed = bench.find_next_step(drilling), [s for s in drilling.steps if s.ticked_at]
        return page.show(
            "drillings/bench.html",
            "others",
            drilling=drilling,
            step=step,
            passed=passed,
            seen=seen or (step.position if step else 0),
        )
    context = _load_context(page, drilling_id)
    context["by_another"] = next((s for s in context["passed"] if s.position == ticked), None) if ticked else None
    context["seen"] = seen or context["seen"]
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
        ticks = _read_ticks(page, drilling_id, position, posted)
        is_new = not bench_screens.are_ticked(page.session, drilling_id, list(ticks))
        bench.tick_together(page.session, drilling_id, ticks)
    except ShopError as error:
        return page.show_refused(error, "drillings/bench.html", posted, lambda: _load_context(page, drilling_id))
    return page.redirect(f"/drillings/{drilling_id}/bench" + ("" if is_new else f"?ticked={max(ticks)}"))


def _read_ticks(page: Page, drilling_id: int, position: int, posted: dict[str, str]) -> dict[int, TickForm]:
    """Parses the ticks of one screen by position, only those up to `only` where one step is to be judged by itself."""
    drilling = bench.get_drilling(page.session, drilling_id)
    hand = drilling.plan.grip.hand if drilling.plan else ""
    positions = _list_positions(posted, position)
    last = read_id(posted.get("only") or posted.get("until") or "") or max(positions)
    forms = {}
    for at in (at for at in positions if at <= last):
        step = next((s for s in drilling.steps if s.position == at), None)
        prefix = "" if at == position else f"s{at}-"
        signed = {name: posted[name] for name in _OF_THE_POST if name in posted}
        own = {name.removeprefix(prefix): text for name, text in posted.items() if name.startswith(prefix)}
        own |= {"hand": hand, "hole": step.hole if step else ""}
        try:
            forms[at] = page.read(TickForm, own | signed)
        except InvalidError as error:
            fields = {name if name in _OF_THE_POST else prefix + name: told for name, told in error.fields.items()}
            raise InvalidError(error.message, fields) from None
    return forms


def _list_positions(posted: dict[str, str], position: int) -> list[int]:
    """The positions of the steps that a form is about; that of its address alone where it names none."""
    named = [read_id(text) for text in posted.get("steps", "").split(",")]
    return sorted({at for at in named if at is not None} | {position})


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
        bench.untick_together(page.session, drilling_id, _list_positions(posted, position), form.who, form.version)

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
