"""What a weighing after drilling tells: which doubt accounts for the difference, and how dense that kind of ball is.

Every doubt is a normal variable that counts in standard uncertainties; a reading is their sum and its own error. Each
reading changes all of them at once (conjugate normal, one scalar reading after another), so a doubt that moves the
scale the same way as another shares the difference with it: an uncertain top weight keeps the density uncertain.
What is put in has a density of its own, whose doubt no ball makes smaller: it counts as another error in each ball.
Where it is the same one in all of them, the density that is learnt takes it up, and what is predicted with such parts
is covered the better. Source: linear Gaussian model, C. M. Bishop, Pattern Recognition and Machine Learning (2006),
2.3.3; derived.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from app.calculation.balances import HOLES, NO_OUNCES, Balance, Doubt, Ounces
from app.calculation.errors import CannotBuildError

MOST_MISFIT = 2.6  # standard uncertainties; 99 of 100 differences of one direction are within
# Source: NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.6.7.4: upper critical values, 0.99, 1 to 4 degrees
CHI_SQUARE_99 = (6.635, 9.210, 11.345, 13.277)


@dataclass(frozen=True, slots=True)
class Found:
    """What the ball weighed after drilling; None where a direction was not read. Ounces, signs as a balance's.

    `reading_u_oz` is the standard uncertainty (> 0) of each of the three balances, `weight_u_oz` (> 0) that of the
    ball's weight, taken together with the weighing before drilling.
    """

    right_oz: float | None
    finger_oz: float | None
    top_oz: float | None
    reading_u_oz: float
    weight_oz: float | None = None
    weight_u_oz: float = 1.0

    def find_readings(self) -> list[tuple[int, float, float]]:
        """(component of `Ounces`, value, standard uncertainty) of each that was read."""
        values = (self.right_oz, self.finger_oz, self.top_oz, self.weight_oz)
        doubts = (self.reading_u_oz,) * 3 + (self.weight_u_oz,)
        return [(i, v, u) for i, (v, u) in enumerate(zip(values, doubts, strict=True)) if v is not None]


@dataclass(frozen=True, slots=True)
class Share:
    """How much of the difference one doubt accounts for, and how many standard uncertainties it is off by that."""

    source: str
    change: Ounces
    off_by: float
    left_u: float  # what is left of its standard uncertainty, as a share of 1


@dataclass(frozen=True, slots=True)
class Explanation:
    """Found less predicted, what each doubt accounts for, and what is left to the readings; 0 where not read.

    `misfits` are the differences in standard uncertainties of prediction and reading together, `chi_square` that of all
    `freedom` readings at once.
    """

    difference: Ounces
    shares: tuple[Share, ...]
    rest: Ounces
    misfits: Ounces
    chi_square: float
    freedom: int

    @property
    def beyond(self) -> tuple[int, ...]:
        """The components whose difference the stated doubts do not allow; the worst where only all at once are."""
        own = tuple(i for i, misfit in enumerate(self.misfits) if abs(misfit) > MOST_MISFIT)
        if own or self.chi_square <= CHI_SQUARE_99[self.freedom - 1]:
            return own
        return (max(range(len(self.misfits)), key=lambda i: abs(self.misfits[i])),)


def explain_difference(predicted: Balance, found: Found) -> Explanation:
    """How much of found less predicted each doubt of the prediction accounts for, and what is left over.

    Raises CannotBuildError where the prediction has no doubts or nothing was read.
    """
    return _explain(predicted, found, predicted.doubts or ())


def _explain(predicted: Balance, found: Found, doubts: Sequence[Doubt]) -> Explanation:
    readings = found.find_readings()
    if not doubts:
        raise CannotBuildError("uncertainty", "without uncertainty no difference can be explained")
    if not readings:
        raise CannotBuildError("top_oz", "give at least one reading")
    if any(u <= 0 for _, _, u in readings):
        raise CannotBuildError("reading_u_oz", "a reading has a doubt of its own")
    size, chi_square = len(doubts), 0.0
    off, spread = [0.0] * size, [[float(i == k) for k in range(size)] for i in range(size)]
    for component, value, u in readings:
        effect = [doubt.change[component] for doubt in doubts]
        gain = [math.fsum(a * b for a, b in zip(row, effect, strict=True)) for row in spread]
        expected = math.fsum(a * b for a, b in zip(effect, off, strict=True))
        variance = math.fsum(a * b for a, b in zip(effect, gain, strict=True)) + u * u
        miss = (value - predicted.ounces[component] - expected) / variance
        chi_square += miss * miss * variance
        off = [o + g * miss for o, g in zip(off, gain, strict=True)]
        spread = [
            [s - a * b / variance for s, b in zip(row, gain, strict=True)] for row, a in zip(spread, gain, strict=True)
        ]
    shares = tuple(
        Share(doubt.source, _only_read(doubt.change.times(o), readings), o, math.sqrt(max(0.0, spread[i][i])))
        for i, (doubt, o) in enumerate(zip(doubts, off, strict=True))
    )
    difference = misfits = NO_OUNCES
    for component, value, u in readings:
        apart = value - predicted.ounces[component]
        difference = _set(difference, component, apart)
        misfits = _set(misfits, component, apart / math.hypot(u, *(doubt.change[component] for doubt in doubts)))
    rest = difference
    for share in shares:
        rest = rest.plus(share.change, -1.0)
    return Explanation(difference, shares, rest, misfits, chi_square, len(readings))


def _only_read(change: Ounces, readings: Sequence[tuple[int, float, float]]) -> Ounces:
    kept = NO_OUNCES
    for component, _, _ in readings:
        kept = _set(kept, component, change[component])
    return kept


def _set(ounces: Ounces, component: int, value: float) -> Ounces:
    return Ounces(*(value if i == component else v for i, v in enumerate(ounces)))


@dataclass(frozen=True, slots=True)
class KindDensity:
    """What counts as known of the density drilled away from one kind of ball, ounces per cubic inch.

    `standard_uncertainty_oz_in3` is that of the kind's mean, `scatter_oz_in3` how single balls differ from it. `balls`
    counts those that were weighed.
    """

    density_oz_in3: float
    standard_uncertainty_oz_in3: float
    scatter_oz_in3: float
    balls: int = 0

    @property
    def fraction(self) -> float:
        """The standard uncertainty of the next ball's density as a share of it: `Uncertainty.density_fraction`."""
        return math.hypot(self.standard_uncertainty_oz_in3, self.scatter_oz_in3) / self.density_oz_in3


STARTING_SCATTER_SHARE = 0.03  # ASSUMED: how much balls of one kind differ in density, no source
STARTING_SHARE = 0.15  # ASSUMED: how far a body lies from the ball's mean density, and an insert from its usual one


def start_density(mean_oz_in3: float) -> KindDensity:
    """What counts as known of a kind of ball that was never weighed after drilling, from the ball's mean density."""
    scatter = STARTING_SCATTER_SHARE * mean_oz_in3
    return KindDensity(mean_oz_in3, math.sqrt((STARTING_SHARE * mean_oz_in3) ** 2 - scatter**2), scatter)


_KIND, _OWN = "density of the kind", "density of this ball"


def sharpen_density(kind: KindDensity, predicted: Balance, found: Found) -> KindDensity:
    """What is known of a kind's density after one more ball of it was weighed.

    `predicted` has to be the balance with every hole at the kind's density; its doubts of fills, top weight, heavy spot
    and arm count, and in place of its own doubt of the holes those of the kind and of this ball. Raises
    CannotBuildError as `explain_difference`, where what is drilled away is nothing, and where the difference is beyond
    what all the doubts allow: a reading amiss tells nothing of a density.
    """
    if predicted.removed.weight_oz <= 0:
        raise CannotBuildError("holes", "nothing was drilled away that could tell a density")
    a_unit = predicted.removed.times(-1 / kind.density_oz_in3)
    doubts = [doubt for doubt in predicted.doubts or () if doubt.source != HOLES]
    doubts += [
        Doubt(_KIND, a_unit.times(kind.standard_uncertainty_oz_in3)),
        Doubt(_OWN, a_unit.times(kind.scatter_oz_in3)),
    ]
    explained = _explain(predicted, found, doubts)
    if explained.beyond:
        raise CannotBuildError("top_oz", "the difference is beyond what the doubts allow: was it read right?")
    share = next(s for s in explained.shares if s.source == _KIND)
    return replace(
        kind,
        density_oz_in3=kind.density_oz_in3 + share.off_by * kind.standard_uncertainty_oz_in3,
        standard_uncertainty_oz_in3=kind.standard_uncertainty_oz_in3 * share.left_u,
        balls=kind.balls + 1,
    )
