"""A drilling as specified, as built and as found, side by side: what differs comes first.

Nothing is judged here that was not judged before: spans carry the verdict of their measurement, every other line says
only by how much it differs. What nobody read is no reading, and over an unknown pitch no depth is compared.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from fractions import Fraction
from typing import Literal

from app.calculation.bores import DATUMS, collar_depth_in
from app.calculation.errors import CannotBuildError
from app.measures.wording import in_64ths, pitch_decimals
from app.models import Bore, Drilling, DrillingStep
from app.models.plans import Plan
from app.services import drillings
from app.services.measurements import SpanComparison
from app.services.met_plans import HOLES, HoleName, read_depths_in, read_pitch
from app.services.met_terms import CHANGED_IN

Value = float | tuple[float, float] | None
Kind = Literal["length", "pitch", "clock"]
_Step = DrillingStep | None


@dataclass(frozen=True)
class Found:
    """A hole as it was found on a later visit, inches, and by how much it differs from what was specified."""

    value_in: Fraction
    at: datetime
    note: str
    difference: str


@dataclass(frozen=True)
class Line:
    """One thing of a drilling: lengths in inches, a pitch as (forward, right), a clock in degrees; None: not known.

    `difference` is built less specified in words, empty where they agree or cannot be compared. `verdict` and
    `is_settled` are those of a measured span; `note` says what a value was measured from, or that it was not asked.
    """

    what: str
    kind: Kind
    hole: str
    specified: Value
    built: Value
    difference: str = ""
    note: str = ""
    verdict: str = ""
    is_settled: bool = True
    found: tuple[Found, ...] = ()

    @property
    def is_different(self) -> bool:
        """Whether it is to be looked at: found otherwise, a span not within its tolerance, or simply different."""
        if self.verdict:
            return self.verdict != "within" or not self.is_settled
        return bool(self.difference or self.found)

    @property
    def is_told(self) -> bool:
        """Whether it stands in sight: what differs, and every measured span."""
        return self.is_different or bool(self.verdict)


def list_lines(of: Drilling, finished: SpanComparison | None) -> list[Line]:
    """Returns every line of a drilling, those that differ first; `of` has its steps, bore and measurements."""
    lines = [*_list_spans(finished), *_list_bore(of, of.bore)]
    if of.plan:
        lines += [*_list_holes(of, of.plan)]
    lines += _list_unplanned_findings(of)
    return sorted(lines, key=lambda line: (not line.is_different, not line.is_told))


def _list_spans(finished: SpanComparison | None) -> Iterator[Line]:
    for part, told in finished.parts.items() if finished else ():
        words = "" if abs(told.difference_in) < CHANGED_IN else in_64ths(told.difference_in)
        settled = told.is_settled and bool(finished and finished.doubt)
        what = "bridge" if part == "bridge" else f"to {part}"
        yield Line(what, "length", "thumb", told.predicted_in, told.measured_in, words, "", told.verdict, settled)


def _list_bore(of: Drilling, bore: Bore | None) -> Iterator[Line]:
    if bore is None:
        return
    planned = of.plan.bore if of.plan else None
    depth = None if bore.depth_in is None else float(bore.depth_in)
    wanted = planned.depth_in if planned else None
    collar = _find_collar_depth_in(bore)
    words = "" if wanted is None or collar is None else _differ(collar - wanted, "deeper", "shallower")
    yield Line("bore depth", "length", "bore", wanted, depth, words, bore.datum)
    pitch = None if bore.forward_in is None else (float(bore.forward_in), float(bore.right_in or 0))
    wanted_pitch = (planned.forward_in, planned.right_in) if planned else None
    yield Line("bore pitch", "pitch", "bore", wanted_pitch, pitch, _differ_pitch(wanted_pitch, pitch))
    notch, wanted_deg = bore.notch_deg, of.plan.notch_deg if of.plan else None
    turned = "" if notch is None or wanted_deg is None or notch == wanted_deg else "turned"
    yield Line("notch", "clock", "bore", _to_float(wanted_deg), _to_float(notch), turned)


def _find_collar_depth_in(bore: Bore) -> float | None:
    if bore.depth_in is None or bore.datum not in DATUMS or bore.forward_in is None:
        return None
    return collar_depth_in(drillings.to_bore_shape(bore, bore.depth_in), bore.datum)


def _list_holes(of: Drilling, plan: Plan) -> Iterator[Line]:
    """The bit, depth and pitch of each hole that a bit makes, as far as they were met, and each finished hole."""
    if plan.bore:
        yield _compare_bit(of, "bore", plan.bore.bore_in)
    for name, finger in plan.grip.fingers.items():
        yield _compare_bit(of, name, finger.cut_in)
        yield _compare_depth(of, name, finger.depth_in)
        yield _compare_pitch(of, name, (finger.forward_in, finger.right_in))
        yield _find_later(of, name, finger.hole_in)
    if thumb := plan.grip.thumb:
        if plan.is_thumb_drilled:
            yield _compare_bit(of, "thumb", thumb.hole_in)
            if not plan.inner:
                yield _compare_depth(of, "thumb", thumb.depth_in)
            yield _compare_pitch(of, "thumb", (thumb.forward_in, thumb.right_in))
        yield _find_later(of, "thumb", thumb.hole_in)


def _find_met(of: Drilling, hole: str, column: Literal["met_bit_in", "met_depth_in", "met_forward_in"]) -> _Step:
    """The last done step of a hole at which this was read; its value counts even where no plan works out with it."""
    read = [s for s in of.steps if HOLES.get(s.action) == hole and s.is_done and getattr(s, column) is not None]
    return read[-1] if read else None


def _compare_bit(of: Drilling, hole: HoleName, wanted: float) -> Line:
    step = _find_met(of, hole, "met_bit_in")
    bit = None if step is None else _to_float(step.met_bit_in)
    return Line(
        f"{hole} bit", "length", hole, wanted, bit, "" if bit is None else _differ(bit - wanted, "wider", "narrower")
    )


def _compare_depth(of: Drilling, hole: HoleName, wanted: float) -> Line:
    """A depth as it was read, with its datum where that is not the surface on the hole's axis, as a plan has it."""
    what, step = f"{hole} depth", _find_met(of, hole, "met_depth_in")
    if step is None:
        return Line(what, "length", hole, wanted, None)
    datum = step.met_datum or "unknown"
    depth = _find_depth_in(of, step, hole, datum)
    words = "" if depth is None else _differ(depth - wanted, "deeper", "shallower")
    return Line(what, "length", hole, wanted, _to_float(step.met_depth_in), words, "" if datum == "crown" else datum)


def _find_depth_in(of: Drilling, step: DrillingStep, hole: HoleName, datum: str) -> float | None:
    """The depth down a hole's axis; None where its datum is unknown, or the pitch that it takes to convert it."""
    if datum == "crown":
        return _to_float(step.met_depth_in)
    met, of_hole = of.current_plan, [s for s in of.steps if HOLES.get(s.action) == hole]
    if met is None or datum not in DATUMS or any(s.leaves_pitch_unknown for s in of_hole):
        return None
    try:
        depths = read_depths_in(met, step, hole)
    except CannotBuildError:
        return None
    return depths[0] if depths else None


def _compare_pitch(of: Drilling, hole: HoleName, wanted: tuple[float, float]) -> Line:
    step = _find_met(of, hole, "met_forward_in")
    met = read_pitch(step, wanted) if step else None
    return Line(f"{hole} pitch", "pitch", hole, wanted, met, _differ_pitch(wanted, met))


def _find_later(of: Drilling, hole: str, wanted: float | None) -> Line:
    found = tuple(
        Found(
            m.value_in,
            m.taken_at,
            m.note,
            "" if wanted is None else _differ(float(m.value_in) - wanted, "wider", "narrower"),
        )
        for m in of.measurements
        if m.stage == "found" and m.what == f"{hole}_hole"
    )
    return Line(f"{hole} hole", "length", hole, wanted, None, found=found)


def _list_unplanned_findings(of: Drilling) -> list[Line]:
    """What was found of a drilling that another shop made: there is nothing to compare it with."""
    holes = [] if of.plan else ["thumb", "middle", "ring"]
    return [line for line in (_find_later(of, hole, None) for hole in holes) if line.found]


def _differ(difference_in: float, more: str, less: str) -> str:
    return "" if abs(difference_in) < CHANGED_IN else in_64ths(difference_in, more, less)


def _differ_pitch(wanted: tuple[float, float] | None, now: tuple[float, float] | None) -> str:
    if wanted is None or now is None:
        return ""
    forward, right = now[0] - wanted[0], now[1] - wanted[1]
    return "" if max(abs(forward), abs(right)) < CHANGED_IN else pitch_decimals(forward, right)


def _to_float(value: Fraction | None) -> float | None:
    return None if value is None else float(value)
