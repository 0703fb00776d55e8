"""What follows from what was met at a step: the sleeve's height, walls, window, spans, what is felt, an inner's rim."""

import math
from collections.abc import Iterator

from app.measures.wording import inches
from app.models.plans import Plan
from app.services import checks, owned_routes
from app.services.checks import Check
from app.services.grips import FINGERS
from app.services.met_plans import HoleName, find_wanted_depth_in, get_bit_in, get_pitch, read_depths_in
from app.services.met_terms import (
    AT_HEIGHT,
    CHANGED_IN,
    SAME_IN,
    Met,
    Term,
    describe_limit,
    describe_pitch,
    describe_stand,
)
from app.services.work_outs import work_out

_WINDOW = "Drill clears the slug and spares the lock"
_TOLD_ONCE = ("Inner wider than the thumb hole", "Surface left")  # told by another term, unless they fail


def list_following(met: Met, hole: HoleName) -> Iterator[Term]:
    """Returns what a step changed besides what it met, each as specified and as it follows now."""
    if hole == "bore":
        yield from _tell_sleeve(met)
        yield from _tell_room(met)
    yield from _tell_insert(met, hole)
    yield from _tell_checks(met)
    yield from _tell_spans(met)
    yield from _tell_felt(met)
    yield from _tell_rim(met)


# The sleeve and what is in a hole -------------------------------------------------------------------------------------


def _read_floors_in(met: Met) -> tuple[float, float]:
    """(least, greatest) collar setting of the bore now; they differ where its datum is unknown."""
    read = read_depths_in(met.now, met.step, "bore")
    assert met.now.bore is not None  # a bore was met
    now = met.now.bore.depth_in
    return read if read and abs(read[1] - now) < SAME_IN else (now, now)


def _tell_sleeve(met: Met) -> Iterator[Term]:
    """How far the sleeve will sit sunk or proud of where it was planned to, where the bore's floor sets that.

    Collar settings are compared: the collar rests on the highest point of the rim, below which no sleeve must sink that
    is to be cut flush.
    """
    if not met.is_on_floor or met.step.met_depth_in is None or met.trial_in > float(met.limits["met_depth"].value_in):
        return
    shim_in = met.now.bore.shim_in if met.now.bore else 0.0
    wanted_in = find_wanted_depth_in(met.before, met.step, "bore")
    low, high = (wanted_in - (floor - shim_in) for floor in reversed(_read_floors_in(met)))
    if max(abs(low), abs(high)) < CHANGED_IN:
        return
    limit = met.limits["met_depth"]
    is_beyond = max(abs(low), abs(high)) > float(limit.value_in) + SAME_IN
    yield Term("Sleeve", AT_HEIGHT, describe_stand(low, high), is_beyond, describe_limit(limit))


def _tell_room(met: Met) -> Iterator[Term]:
    """The room of the sleeve in its bore, where its size is known and another bit was met."""
    sleeve = met.now.grip.sleeve_od_in
    planned, now = get_bit_in(met.before, "bore"), get_bit_in(met.now, "bore")
    if sleeve is None or abs(now - planned) < SAME_IN:
        return
    is_tight = now < sleeve - SAME_IN <= planned
    yield Term("Sleeve in its bore", _describe_room(planned - sleeve), _describe_room(now - sleeve), is_tight)


def _tell_insert(met: Met, hole: HoleName) -> Iterator[Term]:
    """How an insert for the planned bit fits the hole of the bit that was met; nothing where none is glued in."""
    if hole not in FINGERS:
        return
    planned, now = get_bit_in(met.before, hole), get_bit_in(met.now, hole)
    if getattr(met.before.grip, hole).hole_in >= planned or abs(now - planned) < SAME_IN:
        return
    limit = met.limits["met_bit"]
    is_beyond = abs(now - planned) > float(limit.value_in) + SAME_IN
    yield Term(f"Insert, {hole}", f"for {inches(planned)}", _describe_room(now - planned), is_beyond)


def _describe_room(room_in: float) -> str:
    if abs(room_in) < CHANGED_IN:
        return "no room"
    return f"{inches(room_in)} room" if room_in > 0 else f"{inches(-room_in)} too tight"


# Checks and spans -----------------------------------------------------------------------------------------------------


def _tell_checks(met: Met) -> Iterator[Term]:
    """The checks whose number the step changed; beyond where one held before and fails now, or holes break in now."""
    specified, before, now = (_run_checks(plan) for plan in (met.specified, met.before, met.now))
    for what, check in now.items():
        old = before.get(what)
        if old is None or not _is_changed(old, check):
            continue
        planned = specified.get(what, old)
        breaks_in = check.value_in == 0 and bool(old.value_in) and check.limit_in != 0
        is_beyond = check.holds is False and (old.holds is not False or breaks_in)
        if what.startswith(_TOLD_ONCE) and not is_beyond:
            continue
        yield Term(_name(what), _describe_check(planned), _describe_check(check), is_beyond, _describe_bound(check))


def _run_checks(plan: Plan) -> dict[str, Check]:
    return {check.what: check for check in checks.run_checks(plan, work_out(plan))}


def _is_changed(old: Check, new: Check) -> bool:
    if old.holds != new.holds:
        return True
    if old.value_in is None or new.value_in is None:
        return False
    return abs(old.value_in - new.value_in) > CHANGED_IN or (old.what == _WINDOW and old.limit_words != new.limit_words)


def _name(what: str) -> str:
    return "Lock window" if what == _WINDOW else what


def _describe_check(check: Check) -> str:
    if check.what == _WINDOW:
        return check.limit_words or "not known"
    return "not known" if check.value_in is None else inches(check.value_in)


def _describe_bound(check: Check) -> str:
    return "" if check.what == _WINDOW else check.limit_words


def _tell_spans(met: Met) -> Iterator[Term]:
    """The spans that will be measured at the end, against the shop's tolerance for them."""
    specified, before, now = (work_out(plan) for plan in (met.specified, met.before, met.now))
    limit = met.limits["tolerance"]
    name = "Sleeve to cut" if now.has_sleeve else "Cut span" if now.solved.thumb else "Cut reach"
    for finger in now.fingers:
        planned, follows = specified.predicted_in(finger), now.predicted_in(finger)
        if abs(follows - before.predicted_in(finger)) > CHANGED_IN:
            is_beyond = abs(follows - planned) > float(limit.value_in) + SAME_IN
            yield Term(f"{name}, {finger}", inches(planned), inches(follows), is_beyond, describe_limit(limit))


# An owned inner -------------------------------------------------------------------------------------------------------


def _tell_felt(met: Met) -> Iterator[Term]:
    """The pitch that is felt in an owned inner, as it follows from the bore's, beside the fit's."""
    owned = met.now.owned
    if owned is None:
        return
    planned, old, now = (get_pitch(plan, "thumb") for plan in (met.specified, met.before, met.now))
    if math.dist(old, now) < CHANGED_IN:
        return
    limit = met.limits["met_pitch"]
    is_beyond = math.dist(planned, now) > float(limit.value_in) + SAME_IN
    asked = f"{describe_pitch(*planned)} (fit: {describe_pitch(*owned.asked[3:])})"
    yield Term("Felt pitch", asked, describe_pitch(*now), is_beyond, describe_limit(limit))


def _tell_rim(met: Met) -> Iterator[Term]:
    """The highest and the lowest place of an owned inner's rim, against the lip that still counts as flush."""
    owned = met.now.owned
    lips = [_find_lips_in(plan) for plan in (met.specified, met.before, met.now)]
    planned, old, now = lips
    if owned is None or planned is None or old is None or now is None:
        return
    least, most = _read_floors_in(met) if met.step.action == "bore" else (0.0, 0.0)
    now = (now[0], now[1] + most - least)  # the plan has the deepest bore; a shallower one lifts the whole rim
    if max(abs(a - b) for a, b in zip(old, now, strict=True)) < CHANGED_IN:
        return
    lip, room = owned.lip_in, float(met.limits["met_depth"].value_in)
    worst = max(lip, _find_worst_in(planned) + room) if _find_worst_in(planned) > lip + SAME_IN else lip
    is_beyond = not owned.unknown and _find_worst_in(now) > worst + SAME_IN
    yield Term(
        "Inner's rim, highest / lowest",
        _describe_lips(planned),
        _describe_lips(now),
        is_beyond,
        f"± {inches(lip)}",
    )


def find_allowed_lip_in(met: Met) -> float | None:
    """How far the rim of an owned inner may be read proud or sunk, inches; None without one.

    Where larger lips are planned, or were accepted at an earlier step, those count, and room for their doubt.
    """
    owned, lips = met.now.owned, _find_lips_in(met.now)
    if owned is None:
        return None
    if owned.unknown or lips is None or _find_worst_in(lips) <= owned.lip_in + SAME_IN:
        return owned.lip_in
    return _find_worst_in(lips) + float(met.limits["met_depth"].value_in)


def _find_lips_in(plan: Plan) -> tuple[float, float] | None:
    """(lowest, highest) of an owned inner's rim, inches proud; its extremes where something of it is unknown."""
    rim = owned_routes.calculate_rim(plan) or owned_routes.calculate_rim_range(plan)
    return (rim.lowest_in, rim.highest_in) if rim else None


def _find_worst_in(lips: tuple[float, float]) -> float:
    return max(lips[1], -lips[0])


def _describe_lips(lips: tuple[float, float]) -> str:
    return f"{owned_routes.describe_height(lips[1])} / {owned_routes.describe_height(lips[0])}"
