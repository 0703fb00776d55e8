"""What is known of a shop's bore depth for one system: from what was observed, and from what the shop says itself."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from math import inf

from app.calculation import depths
from app.calculation import shop_depths as calculated
from app.closed_sets import OBTAINED_WORDS

SAID = "said on its card"


@dataclass(frozen=True)
class Observed:
    """One observation: its id, its values for the calculation, how it was obtained, and what of it is unknown."""

    id: int
    known: depths.KnownDepth
    obtained: str
    doubts: tuple[str, ...] = ()


@dataclass(frozen=True)
class Stated:
    """What the shop says of its own depth on a card: the record's id, its values, day, and what of it is unknown."""

    id: int
    known: calculated.StatedDepth
    as_of: date
    doubts: tuple[str, ...] = ()


def list_shared_doubts(sources: Sequence[Observed | Stated]) -> tuple[str, ...]:
    """Returns what is unknown of every source, in words; empty if one of them is known altogether."""
    if any(not one.doubts for one in sources):
        return ()
    return tuple(dict.fromkeys(doubt for one in sources for doubt in one.doubts))


@dataclass(frozen=True)
class OwnDepth:
    """The observed depth of one bore: collar setting, half of its 95 % interval, and how it was obtained."""

    depth_in: float
    half_width_in: float
    words: str
    doubts: tuple[str, ...] = ()


@dataclass(frozen=True)
class ShopDepth:
    """A shop's collar depth for one system: the estimate from its observations, their last date and sources."""

    knowledge: calculated.DepthKnowledge
    observed: tuple[Observed, ...]
    last_on: date
    sources: tuple[str, ...]
    is_datum_unknown: bool
    is_pitch_unknown: bool
    apart: tuple[Observed, ...] = ()  # each of its own bore alone, not of what the shop does
    stated: tuple[Stated, ...] = ()

    @property
    def estimate(self) -> depths.DepthEstimate:
        return self.knowledge.estimate

    @property
    def doubts(self) -> tuple[str, ...]:
        """What is unknown of every source, in words; empty if one of them is known altogether."""
        return list_shared_doubts((*self.observed, *self.stated))

    @property
    def next_half_width_in(self) -> float:
        """The wider half of the 95 % interval of a ball not yet measured, which includes the shop's scatter."""
        low, high = self.knowledge.next_ball_in
        return max(high - self.estimate.depth_in, self.estimate.depth_in - low)

    def of_bore(self, bore_id: int) -> OwnDepth | None:
        """Returns the observed depth of one bore of this shop, or None; a run of trial fits keeps its own interval."""
        own = [o for o in (*self.observed, *self.apart) if o.known.ball == bore_id]
        if not own:
            return None
        known = calculated.pool([o.known for o in own])
        words = ", ".join(dict.fromkeys(OBTAINED_WORDS[o.obtained] for o in own))
        half_in = depths.student_factor(inf) * known.standard_uncertainty_in
        return OwnDepth(known.depth_in, half_in, words, list_shared_doubts(own))

    @property
    def age_days(self) -> int:
        return (date.today() - self.last_on).days
