"""Target depths of our shop: the collar setting to bore to, and advice if it was never measured."""

from dataclasses import dataclass

from app.models import InsertSystem
from app.services.known_depths import ShopDepth


@dataclass(frozen=True)
class TargetDepth:
    """The collar setting to bore to, with its reason.

    `unmeasured` says what to do about a depth that was never measured: no verdict on an inner can rest on it.
    `is_assumed` marks a depth for which our collar should be measured. `doubts` names what is unknown of every
    observation of our collar.
    """

    depth_in: float
    half_width_in: float
    words: str
    is_assumed: bool
    unmeasured: str = ""
    doubts: tuple[str, ...] = ()


UNMEASURED = {
    "bore_floor": "Our depth is ASSUMED, and the ± does not count it. Measure our collar and add it under our shop.",
    "ball_surface": (
        "Where the flange will hold the inner is ASSUMED from the sleeve's length, and the ± does not count it. "
        "Lock the inner in while the sleeve is dry and read its rim."
    ),
    "by_hand": (
        "Where the inner will be held is ASSUMED from the sleeve's length, and the ± does not count it. "
        "Lock the inner in and set it flush before the glue takes."
    ),
    "slug": "The slug's length is ASSUMED to hold, and the ± does not count it. Measure it in the ball.",
}


def choose_target_depth(system: InsertSystem, ours: ShopDepth | None) -> TargetDepth | None:
    """Returns the target depth for a system: our collar if depth sets the height, else the sleeve's, or None."""
    if system.height_set_by == "bore_floor" and ours:
        return TargetDepth(ours.estimate.depth_in, ours.next_half_width_in, "our collar", False, doubts=ours.doubts)
    if system.sleeve_length_in is not None:
        words = {
            "bore_floor": "the sleeve's length: our collar has not been measured",
            "ball_surface": "the sleeve's length: its flange sets the height",
            "by_hand": "the sleeve's length: the height is set by hand at glue-up",
            "slug": "the slug's length",
        }[system.height_set_by]
        is_assumed = system.height_set_by == "bore_floor"
        return TargetDepth(float(system.sleeve_length_in), 0.0, words, is_assumed, UNMEASURED[system.height_set_by])
    return None
