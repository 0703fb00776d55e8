"""Every inner of a bowler in every ball, and what to do before anything is cut."""

from dataclasses import dataclass

from sqlalchemy.orm import Session

from app.calculation.trims import Trim, best_trim
from app.measures.wording import inches
from app.models import Ball, Bowler, Drilling, Inner
from app.services import balls, bowlers, depths, drillings, inners, shops
from app.services.inners import Sitting


@dataclass(frozen=True)
class Grid:
    """Inners by balls: `cells` by (inner, drilling) hold a sitting or, in words, why there is none."""

    bowler: Bowler
    inners: list[Inner]
    drilled: list[tuple[Ball, Drilling]]
    cells: dict[tuple[int, int], Sitting | str]
    advice: dict[int, list[str]]


def grid(session: Session, bowler_id: int) -> Grid:
    """How every inner in use sits in every drilled ball in use, with advice for each inner."""
    bowler = bowlers.bowler(session, bowler_id)
    owned = balls.of_bowler(session, bowler.id)
    current = drillings.in_force(drillings.of_balls(session, [b.id for b in owned]))
    pieces = [i for i in inners.of_bowler(session, bowler.id) if not i.retired_at]
    shop_ids = {i.trimmed_in.shop_id for i in pieces} | {d.shop_id for d in current.values()}
    known = depths.shop_depths(session, shop_ids)
    lip = float(shops.limits(session)["lip"].value_in)
    cells: dict[tuple[int, int], Sitting | str] = {}
    advice = {}
    for piece in pieces:
        found = inners.sits(piece, current.values(), owned, known, lip)
        cells |= {(piece.id, drilling.id): how for _, drilling, how in found}
        advice[piece.id] = _advice([(ball, how) for ball, _, how in found if not isinstance(how, str)], lip)
    in_use = [b for b in owned if not b.retired_at]
    drilled = [(b, current[b.id]) for b in in_use if b.id in current and current[b.id].bore]
    return Grid(bowler, pieces, drilled, cells, advice)


def _advice(found: list[tuple[Ball, Sitting]], lip_in: float) -> list[str]:
    """What can be undone comes first; a cut is named only where nothing else brings every ball within the limit."""
    if not found or all(how.verdict == "flush" for _, how in found):
        return []
    lines = [_depth_remedy(ball, how) for ball, how in found if how.verdict != "flush"]
    tilted = [ball.label for ball, how in found if how.tilt_left_in > lip_in]
    if not tilted:
        return [*lines, "No cut is needed: each of these can be undone."]
    # a depth remedy frees each ball of its own centre; the home ball, flush where the inner was trimmed, is 0 to 0
    trim = best_trim([(0.0, 0.0), *((how.sit.lowest_in, how.sit.highest_in) for _, how in found)])
    lines.append(f"No depth cures the tilt in {', '.join(tilted)}: a new inner trimmed there is the remedy.")
    lines.append(_trim_words(trim, lip_in))
    return lines


def _depth_remedy(ball: Ball, how: Sitting) -> str:
    step = how.wanted_depth_in - how.fitted_depth_in
    size = inches(abs(step))
    if how.verdict == "measure":
        return f"{ball.label}: make a trial fit first, the depths are not known well enough."
    if step < 0:
        return f"{ball.label}: shim under the sleeve by {size}."
    return f"{ball.label}: deepen the seat by {size}."


def _trim_words(trim: Trim, lip_in: float) -> str:
    if trim.trim_in <= 0 or trim.worst_after_in >= trim.worst_before_in:
        return "Trimming this inner helps nowhere."
    worst = f"the worst lip would go from {inches(trim.worst_before_in)} to {inches(trim.worst_after_in)}"
    if trim.worst_after_in > lip_in:
        return f"Do not trim this inner: {worst}, still over the limit, and its home ball would no longer be flush."
    return f"Trimming {inches(trim.trim_in)} off would do ({worst}), but cannot be undone."
