"""Shows every inner of a bowler in every ball, with advice.

Advice that can be undone comes first: shims and re-glued notches, then one new inner for all balls. Cuts are listed
separately, with what they would spoil.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from sqlalchemy.orm import Session, joinedload

from app.calculation import bores
from app.calculation.tolerances import judge_rim
from app.calculation.trims import Trim, best_new_inner, best_trim
from app.measures.wording import inches
from app.models import Ball, Bore, Bowler, Drilling, Inner
from app.services import balls, bowlers, depths, drillings, inners, inners_in_bores, shop_limits
from app.services.inners_in_bores import InnerInBore
from app.services.shop_limits import SetLimit
from app.services.unsettled import Unsettled

_NO_CUT = "No cut is needed: each of these can be undone."
_LEAST_STEP_IN = 0.0005  # ASSUMED: less is written as 0, and no shim or collar is set so finely


_AS_FAR_AS_KNOWN = "within the limit as far as the depths are known"


@dataclass(frozen=True)
class Remedies:
    """Advice on one inner: what can be undone, and separately the cuts."""

    undoable: tuple[str, ...] = ()
    cuts: tuple[str, ...] = ()

    @property
    def lines(self) -> tuple[str, ...]:
        return self.undoable + self.cuts


@dataclass(frozen=True)
class Grid:
    """Inners by balls: `cells` by (inner, drilling) hold an InnerInBore, or the reason in words why there is none."""

    bowler: Bowler
    inners: list[Inner]
    drilled: list[tuple[Ball, Drilling]]
    cells: dict[tuple[int, int], InnerInBore | Unsettled | str]
    advice: dict[int, Remedies]


def build_grid(session: Session, bowler_id: int) -> Grid:
    """Returns how every inner in use sits in every drilled ball in use, with advice for each inner."""
    bowler = bowlers.get_bowler(session, bowler_id)
    owned = balls.list_of_bowler(session, bowler.id)
    current = drillings.pick_in_force(drillings.list_of_balls(session, [b.id for b in owned]))
    pieces = [i for i in inners.list_of_bowler(session, bowler.id) if not i.retired_at]
    shop_ids = {i.trimmed_in.shop_id for i in pieces} | {d.shop_id for d in current.values()}
    known = depths.load_shop_depths(session, shop_ids)
    limits = shop_limits.load_limits(session)
    lip = float(limits["lip"].value_in)
    cells: dict[tuple[int, int], InnerInBore | Unsettled | str] = {}
    advice = {}
    for piece in pieces:
        found = inners_in_bores.list_in_balls(piece, current.values(), owned, known, limits)
        cells |= {(piece.id, drilling.id): how for _, drilling, how in found}
        settled_balls = [(ball, how) for ball, _, how in found if isinstance(how, InnerInBore) and not how.is_own_bore]
        gaps = _list_gaps(found)
        settled = _list_advice(float(piece.counted_outside_in), settled_balls, lip, is_all_known=not gaps)
        advice[piece.id] = replace(settled, undoable=settled.undoable + gaps)
    in_use = [b for b in owned if not b.retired_at]
    drilled = [(b, current[b.id]) for b in in_use if b.id in current and current[b.id].bore]
    return Grid(bowler, pieces, drilled, cells, advice)


def list_cards(
    session: Session, of: Inner, limits: dict[str, SetLimit]
) -> list[tuple[Ball, Drilling, InnerInBore | Unsettled | str]]:
    """Returns how one inner sits in each of its bowler's drilled balls in use; nothing for a retired inner."""
    if of.retired_at:
        return []
    drilled = drillings.list_of_bowler(session, of.bowler_id, joinedload(Drilling.bore).joinedload(Bore.shop))
    current = drillings.pick_in_force(drilled)
    known = depths.load_shop_depths(session, {of.trimmed_in.shop_id} | {d.shop_id for d in current.values()})
    owned = [d.ball for d in current.values()]
    return inners_in_bores.list_in_balls(of, current.values(), owned, known, limits)


def _list_gaps(found: Sequence[tuple[Ball, Drilling, InnerInBore | Unsettled | str]]) -> tuple[str, ...]:
    """Returns what to measure in bores of which something is unknown."""
    lines = []
    for ball, _, how in found:
        if isinstance(how, Unsettled) and not how.is_own_bore:
            lines.append(
                f"{ball.label}: not known is {how.unknown_words}. Measure that first; this ball is not counted in "
                "the rest."
            )
        elif isinstance(how, str) and how.startswith(inners_in_bores.DEPTH_UNKNOWN):
            lines.append(f"{ball.label}: {how}. This ball is not counted in the rest.")
    return tuple(lines)


def _list_advice(
    outside_in: float, found: list[tuple[Ball, InnerInBore]], lip_in: float, is_all_known: bool
) -> Remedies:
    """Returns what can be undone, and separately the cuts that nothing else replaces."""
    if not found or all(how.verdict == "flush" for _, how in found):
        return Remedies()
    off = [(ball, how) for ball, how in found if how.verdict != "flush"]
    by_depth = [(ball, how) for ball, how in off if _is_helped_by_depth(how, lip_in)]
    lines = [_describe_depth_remedy(ball, how) for ball, how in by_depth if not _needs_cut(how)]
    cuts = [_describe_depth_remedy(ball, how) for ball, how in by_depth if _needs_cut(how)]
    tilted = [ball.label for ball, how in found if how.tilt_left_in > lip_in]
    if not tilted:
        is_no_cut = is_all_known and not cuts and not any(_is_unsure(how) for _, how in off)
        return Remedies((*lines, *((_NO_CUT,) if is_no_cut else ())), tuple(cuts))
    # a depth remedy removes each ball's centre height; the home ball, where the inner was trimmed flush, is 0 to 0
    trim = best_trim([(0.0, 0.0), *((how.flushness.lowest_in, how.flushness.highest_in) for _, how in found)])
    lines.append(f"No depth cures the tilt in {', '.join(tilted)}: a new inner trimmed there is the remedy.")
    lines += _list_notch_remedies(outside_in, found, lip_in)
    lines.append(_describe_new_inner(outside_in, found, trim))
    half_in = max(how.half_width_in for _, how in found)
    is_doubtful = any(how.doubts for _, how in found)
    is_trim_offered, words = _describe_trim(trim, math.inf if is_doubtful else half_in, lip_in)
    (cuts if is_trim_offered else lines).append(words)
    return Remedies(tuple(lines), tuple(cuts))


def _is_helped_by_depth(how: InnerInBore, lip_in: float) -> bool:
    """Whether another depth brings the rim nearer to flush, or a trial fit has to tell; no depth cures a tilt."""
    centre = abs(how.flushness.centre_in)
    if how.verdict == "measure" or centre > lip_in / 2:
        return True
    return how.tilt_left_in <= lip_in and centre >= _LEAST_STEP_IN


def _is_unsure(how: InnerInBore) -> bool:
    """Whether something has to be measured before a cut: the depths are not known well enough, or something is not."""
    return how.verdict == "measure" or bool(how.doubts)


def _needs_cut(how: InnerInBore) -> bool:
    """Whether the remedy for a ball removes material."""
    return not _is_unsure(how) and how.wanted_depth_in > how.fitted.depth_in


def _list_notch_remedies(outside_in: float, found: list[tuple[Ball, InnerInBore]], lip_in: float) -> list[str]:
    """Lists balls whose sleeve, glued in again with the inner's own notch, would bring the rim within the limit."""
    lines = []
    for ball, how in found:
        if not how.turn_deg or how.verdict == "flush":
            continue
        straight = bores.flushness(outside_in, how.made, replace(how.fitted, depth_in=how.wanted_depth_in), 0.0)
        rim = (straight.lowest_in, straight.highest_in)
        if judge_rim(*rim, 0.0, lip_in) == "flush":
            turned = f"{how.turn_deg:g}°"
            is_sure = not how.doubts and judge_rim(*rim, how.half_width_in, lip_in) == "flush"
            words = f"glued in again to match, with that depth, it is {'flush' if is_sure else _AS_FAR_AS_KNOWN}"
            lines.append(f"{ball.label}: its notch is {turned} off; {words}.")
    return lines


def _describe_new_inner(outside_in: float, found: list[tuple[Ball, InnerInBore]], trim: Trim) -> str:
    """Describes one new inner for all of these balls: its height and notch, and the worst lip left."""
    balls_in = [(how.fitted, how.turn_deg) for _, how in found]
    home = found[0][1].made
    best = best_new_inner(outside_in, home, [(home, 0.0), *balls_in])
    height = f"{inches(abs(best.lower_in))} {'lower' if best.lower_in > 0 else 'higher'}"
    if abs(best.lower_in) < _LEAST_STEP_IN:
        height = "at the same height"
    turn = round(best.notch_turn_deg) % 360
    size, side = (turn, "clockwise") if turn <= 180 else (360 - turn, "anticlockwise")
    notch = f"with its notch {size}° {side}" if turn else "with the same notch"
    worst = f"worst lip {inches(best.worst_in)} instead of {inches(trim.worst_before_in)}"
    return f"One new inner for all, trimmed {height} {notch}: {worst}."


def _describe_depth_remedy(ball: Ball, how: InnerInBore) -> str:
    step = how.wanted_depth_in - how.fitted.depth_in
    size = inches(abs(step))
    if how.doubts and (how.verdict == "measure" or step > 0):
        return f"{ball.label}: make a trial fit first, not everything that its rim follows from is known."
    if how.verdict == "measure":
        return f"{ball.label}: make a trial fit first, the depths are not known well enough."
    if step < 0:
        return f"{ball.label}: shim under the sleeve by {size}."
    sunk = "Trimmed there instead, it would sink by as much where it is flush now."
    return f"{ball.label}: deepen the seat by {size}. {sunk}"


def _describe_trim(trim: Trim, half_width_in: float, lip_in: float) -> tuple[bool, str]:
    """Returns whether trimming is offered, and what it would do; in doubt it is not, as it cannot be undone."""
    if trim.trim_in <= 0:
        return False, "Trimming this inner helps nowhere."
    worst = f"the worst lip would go from {inches(trim.worst_before_in)} to {inches(trim.worst_after_in)}"
    if trim.worst_after_in > lip_in:
        words = f"Do not trim this inner: {worst}, still over the limit, and its home ball would no longer be flush."
        return False, words
    if judge_rim(-trim.worst_after_in, trim.worst_after_in, half_width_in, lip_in) != "flush":
        return False, f"Do not trim this inner yet: the depths are not known well enough to say whether {worst}."
    return True, f"Trimming {inches(trim.trim_in)} off would do ({worst})."
