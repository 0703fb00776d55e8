"""The plan of a drilling, frozen when it is planned, and its JSON.

A plan holds inputs only and is worked out again on each view. It is stored with its version, which version 1 lacks, as
it may lack later parts. Each older version has its own class here, which converts to `Plan`: no other module knows it.
"""

from dataclasses import dataclass, field
from fractions import Fraction
from functools import cache
from typing import Final, Literal

from pydantic import JsonValue, TypeAdapter
from sqlalchemy import JSON
from sqlalchemy.engine import Dialect
from sqlalchemy.types import TypeDecorator

from app.calculation.bores import Bore
from app.calculation.grip import Grip
from app.calculation.old_holes import ON_MARK, GripMark
from app.closed_sets import FittedBy, InnerKind
from app.models.old_holes import PlannedOldHole

VERSION: Final = 2
_OLD_ASSUMED_FINGER_DEPTH_IN = 1.0  # assumed by plans of version 1 that do not mark assumed depths


@dataclass(frozen=True)
class PlannedBore:
    """The bore for a sleeve or slug, inches: depth as collar setting, half of the depth's interval, signed pitch.

    `shim_in` lies under the sleeve, so that it rests that much higher than the floor. `sunk_in` is the least and the
    most by which a sleeve that stands on the floor came to sit lower than planned, inner and lock with it.
    """

    bore_in: float
    depth_in: float
    depth_half_width_in: float
    depth_words: str
    is_depth_assumed: bool
    forward_in: float
    right_in: float
    shim_in: float = 0.0
    sunk_in: tuple[float, float] = (0.0, 0.0)


@dataclass(frozen=True)
class PlannedInner:
    """The inner through which the thumb hole is drilled: outside diameter and length, inches."""

    outside_in: float
    length_in: float


@dataclass(frozen=True)
class PlannedSystem:
    """The thumb hardware on the day of the plan; `stock` by size as `inches` writes it, empty if none is kept."""

    label: str
    kind: str
    inner_ods: tuple[float, ...]
    lock_depth_in: float | None
    inner_length_in: float | None
    stock: dict[str, int]


@dataclass(frozen=True)
class PlannedLimit:
    """One of the shop's limits on the day of the plan, inches."""

    value_in: float
    is_assumed: bool


@dataclass(frozen=True)
class PlannedLimits:
    """What the checks before the first cut hold against."""

    least_wall: PlannedLimit
    least_web: PlannedLimit
    least_bridge: PlannedLimit
    least_surface: PlannedLimit
    safe_depth: PlannedLimit


@dataclass(frozen=True)
class FingerSpans:
    """A span to each finger, inches of arc; None where the grip has no such finger."""

    middle: float | None
    ring: float | None


@dataclass(frozen=True)
class KeptSpans:
    """The finished spans kept from a fit that was typed by the sleeve of other hardware, and the spans as typed."""

    hardware: str
    sleeve_od_in: float
    sleeve_to_cut_in: FingerSpans
    finished_in: FingerSpans


@dataclass(frozen=True)
class OwnedFit:
    """One bore for an owned inner, and how the inner is then: inches, thumb signs, degrees clockwise.

    `turn_deg` is that of the notch from the one the inner was made with; `oval_deg` is None for a round hole; the lips
    are None where no depth is known.
    """

    forward_in: float
    right_in: float
    depth_in: float
    turn_deg: float
    felt_forward_in: float
    felt_right_in: float
    oval_deg: float | None
    highest_in: float | None
    lowest_in: float | None


@dataclass(frozen=True)
class PlannedOwned:
    """The bowler's own inner as it was on that day, the bore that is planned for it, and the other one it could have.

    `asked` are the fit's (hole, oval, oval direction, forward, right). `made_in` has the collar setting, with half of
    its interval; `half_width_in` is that of both depths; `our_depth_in` is what we set for a new inner. `unmeasured`
    says what to do about a height that nobody measured; `doubts` names what the plan counts with although nobody knows
    it, and `unsaid`, of older plans, what is zero because nobody was asked: nothing over them is green.
    `unknown` names what is not known and leaves the height unsettled: `made_in` is None where that is pitch or depth,
    `possible` the bores it may have been made in where it is the pitch, `depths_in` the depths that follow from them.
    """

    inner_id: int
    fitted_by: FittedBy
    outside_in: float
    hole_in: float
    oval_in: float
    tilt_in: tuple[float, float]
    made_in: Bore | None
    made_words: str
    made_half_width_in: float
    half_width_in: float
    our_depth_in: float
    unmeasured: str
    lip_in: float
    asked: tuple[float, float, float, float, float]
    chosen: OwnedFit
    other: OwnedFit | None
    unsaid: tuple[str, ...] = ()
    unknown: tuple[str, ...] = ()
    possible: tuple[Bore, ...] = ()
    depths_in: tuple[float, float] | None = None
    doubts: tuple[str, ...] = ()

    @property
    def is_doubtful(self) -> bool:
        """Whether no verdict on its height may be green, however well its depths are known."""
        return bool(self.unsaid or self.doubts)


@dataclass(frozen=True)
class Plan:
    """The frozen inputs of a drilling. `limits` is None in a plan older than the checks, `inner` without inners.

    `notch_deg` is clockwise from the fingers seen from outside, None where unknown; `point_deg` is the drill's own
    point, 180 for a flat one; `assumed_depths` names the fingers whose depth was not given. With `owned` an inner that
    the bowler has goes in, and the grip's thumb is that inner's hole; else `inner` is a new one of `inner_kind`.
    `unknown` names what is unknown: of the ball and its hardware `circumference`, `safe depth`, `sleeve`; of an owned
    inner `inner outside`; of what was drilled `bore pitch`, `thumb pitch`, `middle pitch`, `ring pitch`, `oval`.
    `old_holes` are seen from this grip centre, which lies at `grip_mark` from the mark on the ball.
    """

    grip: Grip
    fit: str
    bore: PlannedBore | None
    notch_deg: Fraction | None
    cusp_limit_in: float
    limits: PlannedLimits | None
    system: PlannedSystem | None
    safe_depth_in: float | None
    point_deg: float
    assumed_depths: tuple[str, ...]
    inner: PlannedInner | None
    kept: KeptSpans | None
    typed: dict[str, str] = field(default_factory=dict)
    version: Literal[2] = VERSION
    owned: PlannedOwned | None = None
    inner_kind: InnerKind = "loaded"
    unknown: tuple[str, ...] = ()
    inserts: dict[str, str] = field(default_factory=dict)  # label of the insert chosen for a finger
    old_holes: tuple[PlannedOldHole, ...] = ()
    grip_mark: GripMark = ON_MARK

    @property
    def is_thumb_drilled(self) -> bool:
        """Whether a bit makes the thumb hole; an owned inner and a moulded one have theirs."""
        return self.owned is None and (self.inner is None or self.inner_kind != "moulded")


# Version 1 ------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Limits1:
    least_wall: float
    least_web: float
    least_bridge: float
    least_surface: float
    safe_depth: float


@dataclass(frozen=True)
class _Ball1:
    safe_depth_in: float | None = None


@dataclass(frozen=True)
class _Plan1:
    """A plan as it was stored before plans had a version."""

    grip: Grip
    bore: PlannedBore | None
    cusp_limit_in: float
    fit: str = ""
    notch_deg: Fraction | None = None
    limits: _Limits1 | None = None
    assumed: tuple[str, ...] = ()
    system: PlannedSystem | None = None
    ball: _Ball1 = _Ball1()
    point_deg: float = 180.0
    assumed_depths: tuple[str, ...] | None = None
    inner_od_in: float | None = None
    inner_length_in: float | None = None
    kept: KeptSpans | None = None
    typed: dict[str, str] = field(default_factory=dict)

    def to_plan(self) -> Plan:
        has_inner = self.inner_od_in and self.inner_length_in
        return Plan(
            grip=self.grip,
            fit=self.fit,
            bore=self.bore,
            notch_deg=self.notch_deg,
            cusp_limit_in=self.cusp_limit_in,
            limits=self._limits(),
            system=self.system,
            safe_depth_in=self.ball.safe_depth_in,
            point_deg=self.point_deg,
            assumed_depths=self._assumed_depths() if self.assumed_depths is None else self.assumed_depths,
            inner=PlannedInner(self.inner_od_in or 0.0, self.inner_length_in or 0.0) if has_inner else None,
            kept=self.kept,
            typed=self.typed,
        )

    def _limits(self) -> PlannedLimits | None:
        if self.limits is None:
            return None
        return PlannedLimits(**{n: PlannedLimit(v, n in self.assumed) for n, v in vars(self.limits).items()})

    def _assumed_depths(self) -> tuple[str, ...]:
        """Returns the assumed depths of a plan that does not mark them: those that equal the default."""
        return tuple(n for n, f in self.grip.fingers.items() if f.depth_in == _OLD_ASSUMED_FINGER_DEPTH_IN)


@cache  # built on first use, so that the app starts faster
def _plans() -> TypeAdapter[Plan]:
    return TypeAdapter(Plan)


@cache
def _plans1() -> TypeAdapter[_Plan1]:
    return TypeAdapter(_Plan1)


def read_plan(stored: JsonValue) -> Plan | None:
    """Parses a plan of any version; None for `{}`, a drilling made elsewhere. Raises ValueError for anything else."""
    if stored == {}:
        return None
    is_old = isinstance(stored, dict) and "version" not in stored
    return _plans1().validate_python(stored).to_plan() if is_old else _plans().validate_python(stored)


def write_plan(plan: Plan | None) -> JsonValue:
    """Returns a plan as JSON of the newest version."""
    written: JsonValue = {} if plan is None else _plans().dump_python(plan, mode="json")
    return written


class PlanColumn(TypeDecorator[Plan]):
    """A JSON column with a plan, written in the newest version; `{}` is None."""

    impl = JSON
    cache_ok = True

    def process_bind_param(self, value: Plan | None, dialect: Dialect) -> JsonValue:
        return write_plan(value)

    def process_result_value(self, value: JsonValue, dialect: Dialect) -> Plan | None:
        return None if value is None else read_plan(value)  # an outer join without a row
