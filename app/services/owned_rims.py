"""The rim of an owned inner in its new bore: as planned, as it follows from the bore as it was made, and as read."""

import math
from dataclasses import dataclass
from fractions import Fraction

from sqlalchemy import select
from sqlalchemy.orm import Session, joinedload
from sqlalchemy.orm.attributes import set_committed_value

from app.calculation.bores import UNKNOWN_PITCH_IN, Flushness, FlushnessRange, possible_bores
from app.calculation.bores import Bore as BoreShape
from app.calculation.errors import CannotBuildError
from app.calculation.tolerances import judge_rim
from app.closed_sets import RIM_PLACES
from app.db import load_one
from app.measures.wording import inches, inches_exactly, pitch_decimals
from app.models import Bore, Drilling, DrillingStep, Measurement
from app.models.plans import OwnedFit, Plan, PlannedOwned
from app.schemas.drillings import DrilledForm, RimReadings
from app.services import changes, depths, drillings, inners_in_bores, owned_inners, owned_routes, shop_limits, shops
from app.services.unsettled import LEVEL_IN, OUTSIDE

NO_TRIM = "Do not trim this inner: it would sink where it is flush now."


@dataclass(frozen=True)
class OwnedRim:
    """What the rim of a planned owned inner will do, as a verdict and in words what to do about it.

    Over an unknown `flushness` is None, and `range` is the extremes of the rim, None where no depth is known.
    """

    flushness: Flushness | None
    range: FlushnessRange | None
    verdict: str
    advice: tuple[str, ...]


def predict_rim(plan: Plan) -> OwnedRim | None:
    """Returns the rim of the inner in the bore as planned; None where no owned inner goes in."""
    owned, rim = plan.owned, owned_routes.calculate_rim(plan)
    if owned is None:
        return None
    if rim is None:
        return OwnedRim(None, owned_routes.calculate_rim_range(plan), "measure", tuple(_list_trial_advice(plan, owned)))
    judged = judge_rim(rim.lowest_in, rim.highest_in, owned.half_width_in, owned.lip_in)
    is_doubtful = owned.is_doubtful or bool(_list_doubt_lines(plan, owned, rim))
    verdict = "measure" if owned.unmeasured or (is_doubtful and judged == "flush") else judged
    return OwnedRim(rim, None, verdict, tuple(_list_advice(plan, owned, rim, verdict)))


def _list_trial_advice(plan: Plan, owned: PlannedOwned) -> list[str]:
    """Returns what to measure, and how to bore if it cannot be measured: what is too shallow can be deepened."""
    lines = [f"Not known: {words}. Measure it before anything is cut." for words in owned.unknown]
    if owned.unmeasured:
        lines.append(owned.unmeasured)
    lines += _list_doubt_lines(plan, owned, None)
    if owned.possible:
        lines.append(
            f"Reckoned with: every pitch up to {inches(UNKNOWN_PITCH_IN)} (ASSUMED), every way. "
            "The bore's pitch below holds all the same, since only the tilt of its hole decides what is felt."
        )
    if not owned_inners.is_depth_given(plan):
        far = f", {inches_exactly(owned.depths_in[1])} at most" if owned.depths_in else ""
        lines.append(
            f"Or by trial: bore {inches_exactly(owned.chosen.depth_in)} deep{far}; with the sleeve dry lock it in, "
            "read its rim, and deepen by the mean of what it stands proud. Where it is sunk, shim under the sleeve."
        )
    return [*lines, NO_TRIM]


def _list_doubt_lines(plan: Plan, owned: PlannedOwned, rim: Flushness | None) -> list[str]:
    """Returns what to measure of what the plan counts with; the inner's outside only where the rim hangs on it."""
    doubts = owned.doubts
    is_level = rim and max(rim.highest_in - rim.centre_in, rim.centre_in - rim.lowest_in) < LEVEL_IN
    if OUTSIDE in plan.unknown and not is_level:
        doubts += (f"the outside of the inner, counted as {inches(owned.outside_in)}, ASSUMED",)
    return [f"Not known: {doubt}. Measure it before anything is cut." for doubt in doubts]


def _list_advice(plan: Plan, owned: PlannedOwned, rim: Flushness, verdict: str) -> list[str]:
    """Returns what can be undone first; trimming the owned inner is never among it."""
    lines = [*filter(None, (owned.unmeasured,)), *_list_doubt_lines(plan, owned, rim)]
    deeper = owned.chosen.depth_in - owned.our_depth_in
    if plan.system and plan.system.kind == "bore_floor" and abs(deeper) >= 0.0005:
        how = "deeper than for a new inner" if deeper > 0 else "shallower than for a new inner: shim under the collar"
        lines.append(f"Set the collar {abs(deeper):.3f} in {how}.")
    if judge_rim(rim.lowest_in, rim.highest_in, 0.0, owned.lip_in) != "flush":  # as planned, whatever the depths' doubt
        lines.append(
            f"Flush cannot be had with this bore: its rim stands {inches(max(rim.highest_in, 0))} proud and "
            f"{inches(max(-rim.lowest_in, 0))} sunk at the best depth, and the limit is {inches(owned.lip_in)}."
        )
        lines += _list_other_ways(owned)
    if verdict != "flush":
        lines.append(
            "Lock it in while the sleeve is dry and read its rim. Where it is sunk all round, shim under the sleeve by "
            "that much; where it leans, turn the notch. Both can be undone until the glue has set."
        )
    return [*lines, NO_TRIM] if verdict != "flush" else [*lines, "Lock it in and feel round the rim."]


def _find_lips_in(fit: OwnedFit | None) -> float:
    """Returns how far the rim of a fit stands proud or sunk at worst, inches; 0 where nobody knows."""
    return max(fit.highest_in or 0.0, -(fit.lowest_in or 0.0)) if fit else 0.0


def _list_other_ways(owned: PlannedOwned) -> list[str]:
    """Returns another turn or pitch that makes the lips smaller, with the difference that the thumb would feel."""
    other, lips_in = owned.other, _find_lips_in(owned.other)
    if other is None or lips_in >= _find_lips_in(owned.chosen):
        return ["No other bore makes its lips smaller: a new inner trimmed in this ball is the remedy."]
    forward, right = other.felt_forward_in - owned.asked[3], other.felt_right_in - owned.asked[4]
    return [
        f"Bored {pitch_decimals(other.forward_in, other.right_in)} and {inches_exactly(other.depth_in)} deep instead, "
        f"its lips are {inches(lips_in)}; felt then differs from the fit by "
        f"{pitch_decimals(forward, right)}.",
        "Or lock in a new inner trimmed in this ball.",
    ]


# As read --------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class RimReading:
    """One place of an owned inner's rim, such as `rim_12`: inches proud, foreseen and read last, None if unknown."""

    what: str
    foreseen_in: float | None
    read_in: Fraction | None

    @property
    def place(self) -> str:
        return RIM_PLACES[self.what]

    @property
    def difference_in(self) -> float | None:
        return None if self.read_in is None or self.foreseen_in is None else float(self.read_in) - self.foreseen_in


@dataclass(frozen=True)
class RimComparison:
    """The four places of a rim; half of the 95 % interval of what is foreseen, inches; from which bore it follows.

    `range` is that of the whole rim where something of the inner is unknown, else None.
    """

    readings: tuple[RimReading, ...]
    range: FlushnessRange | None
    half_width_in: float
    words: str

    @property
    def is_read(self) -> bool:
        return any(reading.read_in is not None for reading in self.readings)


@dataclass(frozen=True)
class _Foreseen:
    heights: dict[str, float]
    range: FlushnessRange | None
    half_width_in: float
    words: str


def compare_rim(session: Session, of: Drilling) -> RimComparison | None:
    """Returns what follows from the bore as made, and the last reading of each place; None without an owned inner."""
    plan = of.plan
    if plan is None or plan.owned is None:
        return None
    foreseen = _foresee(session, of, plan, plan.owned)
    read = {m.what: m.value_in for m in sorted(of.measurements, key=lambda m: m.id)}
    readings = tuple(RimReading(what, foreseen.heights.get(what), read.get(what)) for what in RIM_PLACES)
    return RimComparison(readings, foreseen.range, foreseen.half_width_in, foreseen.words)


def update_rim_step(session: Session, of: Drilling) -> None:
    """Recalculates, for display only, the heights that an unticked step tells, once the bore's depth is met."""
    plan = of.plan
    due = [step for step in of.steps if "rim" in step.reads and step.ticked_at is None]
    if plan is None or plan.owned is None or not due:
        return
    foreseen = _foresee(session, of, plan, plan.owned)
    for step in due:
        told = owned_routes.write_heights(foreseen.heights, foreseen.range)
        set_committed_value(step, "numbers", told)  # for display only


def _foresee(session: Session, of: Drilling, plan: Plan, owned: PlannedOwned) -> _Foreseen:
    """Returns the rim over the bore as made, else as planned at the pitch as met; a range over what is unknown."""
    bored, made = of.current_plan or plan, _find_made_bore(session, of, plan)
    fitted = _find_fitted(session, of, made) if made else None
    half, words, turn = owned.half_width_in, "from the bore as planned", owned.chosen.turn_deg
    possible = _list_possible_bores(bored) or [None]
    if fitted:
        half, words = (
            math.hypot(owned.made_half_width_in, fitted.half_width_in),
            f"from the bore as made: {fitted.words}",
        )
        possible = [*(fitted.possible or (fitted.shape,))]
    notch_deg = made.notch_deg if made else None if _is_notch_skipped(session, of) else plan.notch_deg
    if notch_deg is not None and plan.notch_deg is not None:
        turn += float(notch_deg - plan.notch_deg)
    is_open = bool(owned.unknown) or len(possible) > 1 or (notch_deg is None and plan.notch_deg is not None)
    try:
        if is_open:
            return _Foreseen({}, owned_routes.calculate_rim_range(bored, *filter(None, possible)), half, words)
        return _Foreseen(owned_routes.predict_heights(bored, possible[0], turn), None, half, words)
    except CannotBuildError:
        return _Foreseen({}, None, half, words)


def _find_fitted(session: Session, of: Drilling, made: Bore) -> inners_in_bores.KnownBore | None:
    known = depths.load_shop_depths(session, [of.shop_id]).get((of.shop_id, made.system_id or 0))
    return inners_in_bores.find_known_bore(made, known, shop_limits.load_limits(session))


def _list_possible_bores(bored: Plan) -> list[BoreShape | None]:
    """Returns every bore that one of unknown pitch may be, as deep as planned; empty where its pitch is known."""
    if bored.bore is None or "bore pitch" not in bored.unknown:
        return []
    return [*possible_bores(owned_routes.get_seat(bored, bored.bore), "collar")]


def _is_notch_skipped(session: Session, of: Drilling) -> bool:
    return "notch" in drillings.list_skipped(session, of.id)


_SHOP = joinedload(Bore.shop)


def _find_made_bore(session: Session, of: Drilling, plan: Plan) -> Bore | None:
    """Returns the bore of a drilling as recorded, or one of the depth met at the bench so far; None before."""
    if of.bore_id:
        return load_one(session, Bore, of.bore_id, _SHOP)
    met = session.scalars(
        select(DrillingStep).where(
            DrillingStep.drilling_id == of.id, DrillingStep.action == "bore", DrillingStep.met_depth_in.is_not(None)
        )
    ).first()
    current = of.current_plan
    if met is None or met.met_depth_in is None or current is None or current.bore is None:
        return None
    made = drillings.make_planned_bore(
        of, plan, current.bore, None if _is_notch_skipped(session, of) else plan.notch_deg
    )
    made.depth_in = met.met_depth_in - Fraction(current.bore.shim_in).limit_denominator(10**6)
    made.datum, made.shop = met.met_datum, shops.require_our_shop(session)
    if "bore pitch" in current.unknown:
        made.forward_in = made.right_in = None
    return made


def mark_drilled(session: Session, drilling_id: int, form: DrilledForm) -> Drilling:
    """Marks a drilling as drilled from a form filled in on paper, with the heights of an owned inner's rim."""
    drilled = drillings.mark_drilled(session, drilling_id, form)
    if form.rim and drilled.plan and drilled.plan.owned:
        add_rim(session, drilled, form, form.who)
        entry = changes.Entry("rim of the bowler's own inner", "", form.rim_words, "")
        changes.note(session, form.who, drilled, entry, drilled.ball.bowler_id, is_addition=True)
    return drilled


def add_rim(session: Session, of: Drilling, form: RimReadings, who: int, note: str = "") -> None:
    """Adds the heights read around the rim of the inner locked in; the caller writes them into the history."""
    owned = of.plan.owned if of.plan else None
    for place, height in form.rim.items():
        session.add(
            Measurement(
                drilling_id=of.id,
                inner_id=owned.inner_id if owned else None,
                stage="built",
                what=place,
                value_in=height.given,
                typed=height.text,
                reference="ball",
                note=note,
                staff_id=who,
            )
        )
