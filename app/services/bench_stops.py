"""Stops of the bench: what was met at a step against the plan, and how the work goes on.

What was met always counts: `Drilling.as_met` is worked out again after every tick, and the open steps get the numbers
that follow. Beyond a limit of the shop nothing further is ticked until somebody decides. A hand-over decides nothing.
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from fractions import Fraction

from sqlalchemy.orm import Session
from sqlalchemy.orm.attributes import flag_modified

from app.closed_sets import STOP_DECISION_WORDS, StopDecision
from app.errors import ConflictError, InvalidError
from app.measures.lengths import read_length
from app.measures.reading import QUANTITIES
from app.measures.wording import exact, inches
from app.models import BenchStop, Drilling, DrillingStep, now
from app.models.plans import Plan
from app.schemas.drillings import DecisionForm, TickForm
from app.schemas.forms import typed_texts
from app.services import changes, checks, depths, drillings, finger_depths, routes
from app.services.as_met import Answer, answer_step, put_in_met, read_rim
from app.services.grips import FINGERS
from app.services.shop_limits import SetLimit, load_limits
from app.services.work_outs import work_out


def find_open_stop(of: Drilling) -> BenchStop | None:
    """Returns the stop that nobody has decided yet, or None."""
    return next((stop for stop in of.stops if not stop.decision), None)


def put_met(of: Drilling, until: int | None = None) -> Plan:
    """Returns the plan as met at the steps up to a position, with what was decided at stops up to there."""
    plan, shim_in = drillings.get_plan(of), 0.0
    for stop in of.stops:
        if until is None or stop.position <= until:
            if stop.decision == "planned":
                plan = _change_plan(plan, stop.typed.get("fix", ""))
            if stop.decision == "shimmed":
                shim_in = float(stop.shim_in or 0)
    passed = [s for s in of.steps if s.ticked_at and (until is None or s.position <= until)]
    unknown = [step.action.replace("_", " ") for step in passed if step.leaves_pitch_unknown]
    unknown += ["oval" for step in passed if step.action == "oval" and step.is_skipped]
    if unknown:
        plan = replace(plan, unknown=(*plan.unknown, *unknown))
    return put_in_met(plan, [step for step in passed if step.is_done], shim_in)


def has_met(step: DrillingStep) -> bool:
    """Whether anything was met at a step that may be compared with the plan."""
    numbers = (step.met_depth_in, step.met_bit_in, step.met_forward_in)
    return any(value is not None for value in numbers) or (step.action == "read_rim" and bool(read_rim(step)))


def answer(of: Drilling, step: DrillingStep, limits: Mapping[str, SetLimit]) -> Answer | None:
    """Returns what was met at a step against the plan as it was before it; None where nothing can be compared."""
    if not step.is_done:
        return None
    before, after = put_met(of, step.position - 1), put_met(of, step.position)
    height_set_by = of.system.height_set_by if of.system else None
    return answer_step(drillings.get_plan(of), before, after, step, height_set_by, limits)


def list_answers(session: Session, of: Drilling, at: int | None = None) -> list[tuple[DrillingStep, Answer]]:
    """Returns what each step met that can be compared with its plan, in their order; or the step `at` alone."""
    looked_at = [s for s in of.steps if at in (None, s.position)]
    met = [s for s in looked_at if s.is_done and has_met(s)]
    if not met or of.plan is None:
        return []
    limits = load_limits(session)
    found = ((step, answer(of, step, limits)) for step in met)
    return [(step, told) for step, told in found if told is not None]


def follow_met(session: Session, who: int, of: Drilling) -> None:
    """Puts the plan as met into the drilling, and the numbers that follow into its open steps."""
    plan = put_met(of)
    met = None if plan == of.plan else plan
    if met == of.as_met:
        return
    of.as_met = met
    renumbered = routes.renumber_steps(of, plan)
    if renumbered:
        words = ", ".join(f"{step.position}" for step in renumbered)
        entry = changes.Entry("numbers of open steps", "", f"steps {words}: worked out from what was met")
        changes.note(session, who, of, entry, of.ball.bowler_id)


def require_no_stop(of: Drilling) -> None:
    """Raises ConflictError while a stop is open."""
    stop = find_open_stop(of)
    if stop:
        raise ConflictError(f"The bench has stopped at step {stop.position}: decide there first how to go on.")


def raise_stop(session: Session, who: int, of: Drilling, step: DrillingStep, told: Answer) -> None:
    """Adds a stop at a step whose answer is beyond a limit."""
    _stop(session, who, of, step.position, describe_terms(told))


def raise_failing_stop(session: Session, who: int, of: Drilling) -> bool:
    """Adds a stop at the last tick where a check fails that nobody gave a reason for, and returns whether it did."""
    plan = drillings.get_current_plan(of)
    failing = checks.pick_failing(checks.run_checks(plan, work_out(plan)))
    if not failing or drillings.find_reason(session, of):
        return False
    last = max(step.position for step in of.steps if step.ticked_at)
    _stop(session, who, of, last, [f"{check.what} fails: {check.limit_words}, {check.reason}" for check in failing])
    return True


def _stop(session: Session, who: int, of: Drilling, position: int, lines: list[str]) -> None:
    stop = BenchStop(drilling_id=of.id, position=position, lines=lines, raised_by_id=who)
    of.stops.append(stop)
    _note(session, who, of, stop, "", "; ".join(lines))


def take_back_stops(session: Session, who: int, of: Drilling, position: int) -> None:
    """Ends every stop at a step whose tick is taken back, decided or not."""
    for stop in of.stops:
        if stop.position == position and stop.decision != "taken_back":
            _decide(session, who, of, stop, "taken_back", "")


def hand_over(session: Session, who: int, of: Drilling, stop: BenchStop, words: str) -> None:
    """Keeps what the next person should know; the stop stays open. Raises InvalidError without words."""
    _require_reason(words, "What should the next person know?")
    _note(session, who, of, stop, stop.handed_over, f"stopped and handed over: {words}")
    stop.handed_over = words


def settle(session: Session, of: Drilling, stop: BenchStop, form: DecisionForm) -> None:
    """Carries on, shims, or plans again what is not yet done; raises InvalidError for what is missing."""
    if form.decision == "shim":
        stop.shim_in = _require_shim(of, stop, form)
        stop.typed = typed_texts(form)
        _require_reason_beside_shim(session, of, stop, form.reason)
        thick = f"{exact(stop.shim_in)} under the sleeve"
        _decide(session, form.who, of, stop, "shimmed", form.reason or thick, thick)
    elif form.decision == "plan_rest":
        if form.fix and form.fix not in (f"{fix.field}={fix.value}" for fix in list_fixes(of)):
            raise InvalidError.at("fix", "Choose one.")
        rest = _change_plan(put_met(of), form.fix)
        checks.require_reason(rest, work_out(rest), form.reason)
        if not form.fix:
            _require_reason(form.reason, "Nothing is changed of what is left. Why is it good enough to carry on?")
        stop.typed = {"fix": form.fix}
        _decide(session, form.who, of, stop, "planned", form.reason, form.fix.replace("_", " "))
    else:
        _require_reason(form.reason, "Why is it good enough to carry on?")
        _decide(session, form.who, of, stop, "carried_on", form.reason)
    follow_met(session, form.who, of)


def close_as_plugged(session: Session, who: int, of: Drilling, reason: str) -> None:
    """Ends an open stop because the ball was plugged."""
    stop = find_open_stop(of)
    if stop:
        _decide(session, who, of, stop, "plugged", reason)


def list_fixes(of: Drilling) -> list[checks.Fix]:
    """Returns what may still be changed of the steps not yet done: fixes of failing checks first, then other inners."""
    plan, done = put_met(of), {step.action for step in of.steps if step.is_done}
    tried = [c.fix for c in checks.pick_failing(checks.run_checks(plan, work_out(plan))) if c.fix]
    if plan.inner and plan.system and plan.is_thumb_drilled:
        others = [size for size in plan.system.inner_ods if size != plan.inner.outside_in]
        tried += [checks.Fix("inner", inches(size), f"Use the {inches(size)} inner") for size in others]
    closed = {"inner": {"lock_in", "drill_inner"}, "point": {"drill_inner", "drill_thumb"}}
    closed["finger_depth"] = {f"{finger}_bore" for finger in FINGERS}
    return [fix for fix in dict.fromkeys(tried) if not closed[fix.field] & done]


def _change_plan(plan: Plan, fix: str) -> Plan:
    """Returns the plan with one thing changed, such as `inner=1 3/8`; raises InvalidError at `fix`."""
    if not fix:
        return plan
    field, _, text = fix.partition("=")
    value = read_length(text, QUANTITIES["diameter"]).value if field != "point" else Fraction(180)
    if field == "point" and text == "180":
        return replace(plan, point_deg=180.0)
    if field == "inner" and value and plan.inner and plan.system and float(value) in plan.system.inner_ods:
        return replace(plan, inner=replace(plan.inner, outside_in=float(value)))
    if field == "finger_depth" and value:
        return replace(finger_depths.set_depth(plan, FINGERS, float(value)), assumed_depths=())
    raise InvalidError.at("fix", "Choose one.")


def _require_reason_beside_shim(session: Session, of: Drilling, stop: BenchStop, reason: str) -> None:
    """Raises InvalidError without a reason where something else is beyond its limit, which no shim mends."""
    step = next(s for s in of.steps if s.position == stop.position)
    limits = load_limits(session)
    height_set_by = of.system.height_set_by if of.system else None
    before, after = put_met(of, step.position - 1), put_in_met(put_met(of, step.position), [], float(stop.shim_in or 0))
    told = answer_step(drillings.get_plan(of), before, after, step, height_set_by, limits)
    left = [term for term in told.terms if term.is_beyond and not term.is_shimmed] if told else []
    if left and not reason:
        lines = "; ".join(f"{term.what}: {term.now}" for term in left)
        raise InvalidError.at("reason", f"A shim does not mend this ({lines}). Why may it go on?")


def _require_shim(of: Drilling, stop: BenchStop, form: DecisionForm) -> Fraction:
    step = next(s for s in of.steps if s.position == stop.position)
    shim = form.shim.value
    if step.action != "bore":
        raise InvalidError.at("decision", "A shim goes under a sleeve: it is no remedy for this step.")
    if shim is None or shim <= 0:
        raise InvalidError.at("shim", "How thick is the shim?")
    if step.met_depth_in is not None and shim >= step.met_depth_in:
        raise InvalidError.at("shim", "A shim so thick fills the whole bore.")
    return shim


def _require_reason(reason: str, question: str) -> None:
    if not reason:
        raise InvalidError.at("reason", question)


def _decide(session: Session, who: int, of: Drilling, stop: BenchStop, decision: StopDecision, *told: str) -> None:
    """Decides a stop, with the reason and with what was chosen, if anything was."""
    reason, chosen = (*told, "")[:2]
    old = STOP_DECISION_WORDS.get(stop.decision, "")  # type: ignore[call-overload]
    stop.decision, stop.reason, stop.decided_at, stop.decided_by_id = decision, reason, now(), who
    words = f"{STOP_DECISION_WORDS[decision]}: {chosen}" if chosen else STOP_DECISION_WORDS[decision]
    _note(session, who, of, stop, old, words, reason)


def _note(session: Session, who: int, of: Drilling, stop: BenchStop, *told: str) -> None:
    """Adds a line of history about a stop: old, new, and why. A form shown before it is of an older version then."""
    changes.note(session, who, of, changes.Entry(f"stop at step {stop.position}", *told), of.ball.bowler_id)
    flag_modified(of, "state")


def describe_terms(told: Answer) -> list[str]:
    """Returns each line of an answer in words."""
    return [f"{term.what}: {term.planned} planned, {term.now} now" for term in told.terms]


def describe_met(step: DrillingStep) -> str:
    """Returns what was met at a step as it was typed, in one line."""
    parts: Sequence[str] = (step.typed.get("depth", ""), step.typed.get("pitch", ""), step.met_bit, step.note)
    return " ".join(filter(None, (*parts, step.skip_reason and f"skipped: {step.skip_reason}")))


def fill_met(step: DrillingStep, form: TickForm) -> None:
    """Puts the values of a form into a step; raises InvalidError for a depth neither met nor said to be not read."""
    depth, pitch = form.depth.value, form.pitch.value
    if "depth" in step.reads:
        is_unread = form.not_read or form.depth.state == "unknown"
        if depth is None and not is_unread:
            raise InvalidError.at("depth", "How deep did it come out? If nobody read it, choose “Depth not read”.")
        if depth and form.not_read:
            raise InvalidError.at("depth", "A depth is typed and “Depth not read” is chosen. Which is meant?")
        if depth:
            datum = depths.reconcile_datum(depth.datum, form.datum or "unknown")
            if not depth.datum and not form.datum:
                raise InvalidError.at("datum", f"{form.depth.text}, measured from where? If nobody knows: unknown.")
            step.met_depth_in, step.met_datum = depth.depth_in, datum
    if "pitch" in step.reads and pitch:
        step.met_forward_in, step.met_right_in = pitch.forward_in, pitch.right_in
    step.met_bit, step.note = form.bit, form.note
    step.met_bit_in = read_length(form.bit, QUANTITIES["diameter"]).value if "bit" in step.reads else None


def clear_met(step: DrillingStep) -> None:
    """Takes tick or skip and every value met out of a step; its line of history has kept them."""
    step.ticked_at = step.staff_id = step.met_depth_in = step.met_bit_in = None
    step.met_forward_in = step.met_right_in = step.part_id = None
    step.met_datum = step.met_bit = step.note = step.skip_reason = ""
    step.typed = {}
