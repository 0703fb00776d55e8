"""What a press is set to for the next plunge of a drilling: bit, pitch and collar. Balls that share it go one by one.

Read from the plan in force, as met where something was met. Values are rounded to 1/128, finer than a press is set.
"""

from collections import OrderedDict
from collections.abc import Collection
from dataclasses import dataclass
from fractions import Fraction
from weakref import WeakKeyDictionary

from sqlalchemy import bindparam, select
from sqlalchemy.engine import Dialect
from sqlalchemy.orm import Session

from app.calculation.grip import Finger, Thumb
from app.measures.wording import inches
from app.models import Drilling
from app.models.plans import Plan

_FINEST = 128
_MOST_KEPT = 500  # drillings: a page may show all open work without reading its plans again


@dataclass(frozen=True)
class SetUp:
    """Bit and collar in inches, the pitch signed as for this hole; `words` is what a page says and what is compared."""

    hole: str
    bit_in: Fraction
    forward_in: Fraction
    right_in: Fraction
    depth_in: Fraction

    @property
    def words(self) -> str:
        forward, right = self.forward_in, self.right_in
        ways = [f"{inches(abs(forward))} {'forward' if forward > 0 else 'reverse'}"] if forward else []
        ways += [f"{inches(abs(right))} {'right' if right > 0 else 'left'}"] if right else []
        depth = f"{'collar' if self.hole == 'bore' else 'depth'} {inches(self.depth_in)}"
        return f"{self.hole} {inches(self.bit_in)}, {', '.join(ways) or 'straight'}, {depth}"


def _round(value: float) -> Fraction:
    return Fraction(round(value * _FINEST), _FINEST)


def read_set_up(plan: Plan) -> SetUp | None:
    """Returns the set-up of a plan: of the sleeve's bore, else of the thumb hole, else of a finger's."""
    if plan.bore:
        bore = plan.bore
        return _make("bore", bore.bore_in, (bore.forward_in, bore.right_in), bore.depth_in)
    thumb: Thumb | None = plan.grip.thumb
    if thumb and plan.is_thumb_drilled:
        return _make("thumb", thumb.hole_in, (thumb.forward_in, thumb.right_in), thumb.depth_in)
    first: Finger | None = next(iter(plan.grip.fingers.values()), None)
    if first is None:
        return None
    return _make("finger", first.cut_in, (first.forward_in, first.right_in), first.depth_in)


def _make(hole: str, bit_in: float, pitch_in: tuple[float, float], depth_in: float) -> SetUp:
    return SetUp(hole, _round(bit_in), _round(pitch_in[0]), _round(pitch_in[1]), _round(depth_in))


Kept = OrderedDict[tuple[int, int], SetUp | None]  # by drilling and its version
_kept: WeakKeyDictionary[Dialect, Kept] = WeakKeyDictionary()  # an engine and its readers share one dialect
_drilling = Drilling.__table__.c
_PLANS = select(_drilling.id, _drilling.version, _drilling.as_met, _drilling.plan).where(
    _drilling.id.in_(bindparam("ids", expanding=True))
)


def find(session: Session, versions: Collection[tuple[int, int]]) -> dict[int, SetUp]:
    """Returns the set-ups of drillings, told as (id, version): those seen before are not read again."""
    kept = _kept.setdefault(session.get_bind().dialect, OrderedDict())
    unseen = [of for of, version in versions if (of, version) not in kept]
    if unseen:
        for row in session.execute(_PLANS, {"ids": unseen}):
            plan = row.as_met or row.plan
            kept[row.id, row.version] = read_set_up(plan) if plan else None
        while len(kept) > _MOST_KEPT + len(versions):
            kept.popitem(last=False)
    found = {of: kept.get((of, version)) for of, version in versions}
    return {of: set_up for of, set_up in found.items() if set_up}
