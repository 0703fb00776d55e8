"""A gauge study: what of the spread comes from the gauge, what from the people, what from the parts."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from app.calculation.errors import CannotBuildError


@dataclass(frozen=True)
class GaugeStudy:
    """Standard deviations, in the readings' own unit."""

    repeatability: float
    reproducibility: float
    gauge: float
    part: float

    @property
    def total(self) -> float:
        return math.hypot(self.gauge, self.part)


def gauge_study(readings: Sequence[Sequence[Sequence[float]]]) -> GaugeStudy:
    """Analysis of variance without interaction of readings[person][trial][part], every cell filled.

    At least two people, trials and parts. A variance that comes out negative counts as none.
    Source: AIAG, Measurement Systems Analysis, 4th ed., ANOVA method; interaction pooled with repeatability.
    """
    people, trials, parts = len(readings), len(readings[0]) if readings else 0, len(readings[0][0]) if readings else 0
    if min(people, trials, parts) < 2:
        raise CannotBuildError("readings", "a study needs at least two people, two trials and two parts")
    if any(len(p) != trials or any(len(t) != parts for t in p) for p in readings):
        raise CannotBuildError("readings", "every person has to measure every part as often")
    everything = [v for p in readings for t in p for v in t]
    count, mean = len(everything), math.fsum(everything) / len(everything)
    by_person = [math.fsum(v for t in p for v in t) / (trials * parts) for p in readings]
    by_part = [
        math.fsum(readings[p][t][i] for p in range(people) for t in range(trials)) / (people * trials)
        for i in range(parts)
    ]
    squares_all = math.fsum((v - mean) ** 2 for v in everything)
    squares_people = trials * parts * math.fsum((m - mean) ** 2 for m in by_person)
    squares_parts = people * trials * math.fsum((m - mean) ** 2 for m in by_part)
    freedom = count - people - parts + 1
    error = (squares_all - squares_people - squares_parts) / freedom
    person = max(0.0, (squares_people / (people - 1) - error) / (trials * parts))
    part = max(0.0, (squares_parts / (parts - 1) - error) / (people * trials))
    return GaugeStudy(math.sqrt(error), math.sqrt(person), math.sqrt(error + person), math.sqrt(part))
