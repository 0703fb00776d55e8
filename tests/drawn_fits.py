"""Random fits for the drawing of the ball: both hands and every grip, with and without sleeve, notch, oval, old holes."""

import random
from collections.abc import Iterator

from app.calculation.errors import CannotBuildError
from app.calculation.grip import Finger, Grip, SolvedGrip, Thumb
from app.calculation.grip_solver import solve_grip
from app.calculation.holes import OldHole
from app.models.old_holes import PlannedOldHole

DrawnFit = tuple[SolvedGrip, float | None, tuple[PlannedOldHole, ...]]  # as `draw_grip` takes them
_GRIPS = ("three", "three", "three", "thumbless", "thumb_middle", "thumb_ring", "offset")


def random_fits(count: int, seed: int) -> Iterator[DrawnFit]:
    """So many fits that can be built, from this seed."""
    pick, made = random.Random(seed), 0
    while made < count:
        try:
            found = _pick_fit(pick)
        except CannotBuildError:
            continue
        made += 1
        yield found


def _pick_fit(pick: random.Random) -> DrawnFit:
    def pitch() -> dict[str, float]:
        in_32nds = (pick.choice((0, 0, pick.randint(-16, 16))), pick.choice((0, pick.randint(-12, 12))))
        return dict(zip(("forward_in", "right_in"), (n / 32 for n in in_32nds), strict=True))

    def finger(span: float) -> Finger:
        cut = pick.randint(46, 66) / 64
        inside = cut - pick.choice((0, pick.randint(6, 20) / 64))
        return Finger(span, cut, inside, **pitch())

    grip, span = pick.choice(_GRIPS), pick.randint(180, 320) / 64 + pick.choice((0, 0, 0.002, -0.003))
    if grip == "thumbless":
        span /= 2
    thumb = Thumb(
        hole_in=pick.randint(48, 72) / 64, oval_in=pick.choice((0.0, 0.0625, pick.randint(1, 12) / 64)),
        oval_deg=pick.choice((0.0, 45.0, 90.0, pick.uniform(0, 360))),
        offset_in=pick.uniform(-0.4, 0.4) if grip == "offset" else 0.0, **pitch(),
    )  # fmt: skip
    middle, ring = finger(span), finger(span + pick.randint(-16, 16) / 64)
    sleeve = None if grip == "thumbless" else pick.choice((None, 1.5, 1.5, 1.375))
    solved = solve_grip(
        Grip(
            circumference_in=pick.uniform(26.704, 27.002), hand=pick.choice(("right", "left")),
            thumb=None if grip == "thumbless" else thumb,
            middle=None if grip == "thumb_ring" else middle, ring=None if grip == "thumb_middle" else ring,
            bridge_in=None if grip in {"thumb_middle", "thumb_ring"} else pick.randint(10, 32) / 64,
            sleeve_od_in=sleeve, sleeve_pitch_in=pick.choice((None, (0.0, 0.0))) if sleeve else None,
        )
    )  # fmt: skip
    notch = pick.uniform(0, 360) if sleeve and pick.random() < 0.8 else None
    return solved, notch, tuple(_pick_old_hole(pick, i) for i in range(pick.choice((0, 0, 0, 1, 2, 3))))


def _pick_old_hole(pick: random.Random, number: int) -> PlannedOldHole:
    shape = OldHole(
        pick.uniform(-6, 6), pick.uniform(-3, 3), pick.uniform(0.7, 1.3), pick.uniform(-0.4, 0.4),
        pick.uniform(-0.2, 0.2), 2.0, pick.choice(("thumb", "finger")),
    )  # fmt: skip
    name = ("thumb hole", "finger hole", "balance hole")[number]
    return PlannedOldHole(number, name, shape, pick.random() < 0.6, "resin", None, ())
