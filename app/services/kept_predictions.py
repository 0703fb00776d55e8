"""The prediction that a weighing was held against, kept with what was told of it, so that its past stays as it was.

Layout, marks, scale and label may change afterwards; what the weighing taught does not. An older weighing that kept no
prediction is predicted again.
"""

from dataclasses import dataclass

from pydantic import BaseModel, JsonValue, TypeAdapter

from app.calculation.balances import Balance, Doubt, Ounces
from app.models import Weighing
from app.services.balances import Prediction

_NAME = "counted"
_Four = tuple[float, float, float, float]


class _Kept(BaseModel):
    ounces: _Four
    removed: _Four
    added: _Four
    doubts: list[tuple[str, _Four]]
    density_oz_in3: float
    is_weight_weighed: bool


_READ: TypeAdapter[_Kept | None] = TypeAdapter(_Kept | None)


@dataclass(frozen=True)
class KeptPrediction:
    """A predicted balance, the density of what is drilled away in it, and whether a scale told the ball's weight."""

    balance: Balance
    density_oz_in3: float
    is_weight_weighed: bool

    def at_density(self, density_oz_in3: float) -> Balance:
        """The balance with every hole at another density; its doubt of the holes stays that of the first one."""
        removed = self.balance.removed.times(density_oz_in3 / self.density_oz_in3)
        ounces = self.balance.ounces.plus(self.balance.removed).plus(removed, -1.0)
        return Balance(ounces, removed, self.balance.added, self.balance.doubts)


def take(prediction: Prediction | None) -> KeptPrediction | None:
    """Returns what is kept of a prediction; None where nothing was predicted."""
    if prediction is None or prediction.balance is None:
        return None
    return KeptPrediction(prediction.balance, prediction.density.density_oz_in3, prediction.start.is_weight_weighed)


def write(prediction: Prediction | None) -> dict[str, JsonValue]:
    """Returns a prediction as it is kept with a weighing; that there was none is kept too."""
    kept = take(prediction)
    if kept is None:
        return {_NAME: None}
    of = kept.balance
    doubts = [(doubt.source, tuple(doubt.change)) for doubt in of.doubts or ()]
    told = _Kept(
        ounces=tuple(of.ounces),
        removed=tuple(of.removed),
        added=tuple(of.added),
        doubts=doubts,
        density_oz_in3=kept.density_oz_in3,
        is_weight_weighed=kept.is_weight_weighed,
    )
    return {_NAME: told.model_dump(mode="json")}


def has_kept(of: Weighing) -> bool:
    """Whether a weighing says what it was held against, be it nothing."""
    return _NAME in of.verdict


def read(of: Weighing) -> KeptPrediction | None:
    """Returns the prediction that a weighing was held against; None where it was held against none."""
    kept = _READ.validate_python(of.verdict.get(_NAME))
    if kept is None:
        return None
    doubts = tuple(Doubt(source, Ounces(*change)) for source, change in kept.doubts)
    found = Balance(Ounces(*kept.ounces), Ounces(*kept.removed), Ounces(*kept.added), doubts)
    return KeptPrediction(found, kept.density_oz_in3, kept.is_weight_weighed)
