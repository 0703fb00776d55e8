"""Cards for tests: an invented bowler with two inners, and random ones over all that a card can hold."""

import random
from collections.abc import Callable
from dataclasses import replace
from datetime import date, timedelta
from fractions import Fraction
from typing import get_args, get_origin, get_type_hints

from app.cards.contents import Bore, Card, Depth, Fit, Hardware, Hole, Inner
from app.closed_sets import DIGITS_OF

PRIVATE_KEY = bytes(range(32))
F = Fraction


def make_card(**other: object) -> Card:
    """A bowler with a three-hole fit, thumb hardware, finger inserts, two inners and what is known of the depth."""
    said: dict[str, object] = {
        "series": bytes.fromhex("5e21c4a7900d"),
        "revision": 3,
        "made_on": date(2026, 3, 14),
        "shops": ("Harbour Lane",),
        "bowler": "Ada Quillfeather",
        "hand": "right",
        "fit": make_fit(),
        "hardware": (THUMB_HARDWARE, *INSERTS),
        "bores": (BORE, BORE_OF_OTHER_BALL),
        "inners": (INNER, SECOND_INNER),
        "depths": (DEPTH,),
    }
    return Card(**(said | other))  # type: ignore[arg-type]


def make_fit() -> Fit:
    return Fit(
        revision=2,
        in_force_on=date(2026, 2, 1),
        style="fingertip",
        middle_span_in=F(4) + F(1, 64),
        ring_span_in=F(4) + F(5, 32),
        span_edges="cut",
        bridge_in=F(1, 4),
        bridge_edges="cut",
        hardware=0,
        thumb=Hole(
            size_in=F(15, 16), oval_in=F(1, 16), oval_deg=F(45), forward_in=F(-1, 4), right_in=F(1, 8),
        ),
        middle=Hole(
            size_in=F(11, 16), forward_in=F(-1, 4), right_in=F(0), cut_in=F(31, 32), depth_in=F(1), hardware=1,
        ),
        ring=Hole(
            size_in=F(21, 32), forward_in=F(-1, 4), right_in=F(-1, 8), cut_in=F(31, 32), depth_in=F(1), hardware=1,
        ),
    )  # fmt: skip


THUMB_HARDWARE = Hardware(
    digit="thumb", sleeve_in=F(3, 2), bore_in=F(3, 2), inside_in=(F(5, 4), F(21, 16)), sleeve_length_in=F(7, 4),
    lock_depth_in=F(3, 2), inner_length_in=F(9, 4), locks="clockwise", notch_deg=F(0), wide_tab_deg=F(180),
    height_set_by="bore_floor",
)  # fmt: skip
INSERTS = (Hardware(digit="finger", bore_in=F(31, 32), inside_in=(F(21, 32), F(11, 16))),)
BORE = Bore(
    hardware=0, circumference_in=F(27), bore_in=F(3, 2), depth_in=F(11, 4), depth_u_in=F(40, 10_000), datum="collar",
    forward_in=F(-1, 4), right_in=F(1, 8), notch_deg=F(0), hand="right",
)  # fmt: skip
BORE_OF_OTHER_BALL = Bore(
    hardware=0, circumference_in=F(2695, 100), bore_in=F(3, 2), datum="unknown", forward_in=F(0), right_in=F(0),
    notch_deg=F(30), hand="right", is_pitch_unsaid=True,
)  # fmt: skip
INNER = Inner(
    label="dry days", hardware=0, bore=0, outside_in=F(5, 4), hole_in=F(15, 16), oval_in=F(1, 16), oval_deg=F(45),
    forward_in=F(0), right_in=F(0),
)  # fmt: skip
SECOND_INNER = Inner(
    label="humid", hardware=0, bore=1, outside_in=F(5, 4), hole_in=F(61, 64), oval_in=F(1, 16), oval_deg=F(45),
    forward_in=F(-1, 4), right_in=F(1, 8),
)  # fmt: skip
DEPTH = Depth(
    hardware=0, mean_in=F(27_506, 10_000), u_in=F(53, 10_000), scatter_in=F(81, 10_000), n=5, balls=4,
    as_of=date(2026, 3, 1), evidence=bytes.fromhex("0b7e11d24c95a38f"),
)  # fmt: skip


# Random cards ---------------------------------------------------------------------------------------------------------

LETTERS = "abcdefghijklmnopqrstuvwxyz ÄÖÜéñø東京ボウル🎳’-.1234567890"
_HINTS: dict[type, dict[str, object]] = {
    of: get_type_hints(of) for of in (Card, Fit, Hole, Hardware, Bore, Inner, Depth)
}
LISTS = {Hardware: "hardware", Bore: "bores", Inner: "inners", Depth: "depths"}
EXACT_RANGES = {"circumference_in": (20, 30), "forward_in": (-3, 3), "right_in": (-3, 3), "offset_in": (-3, 3)}


def make_random(r: random.Random) -> Card:
    """A card of anything that a card can hold; much is unknown, and much is at the ends of its range."""
    hardware, bores = r.randint(1, 2), r.randint(1, 2)
    counts = {"hardware": hardware, "bores": bores, "inners": r.randint(0, 2), "depths": r.randint(0, 1)}
    parts = {name: tuple(_make(of, r) for _ in range(counts[name])) for of, name in LISTS.items()}
    made = _make(Card, r, **parts, shops=tuple(_words(r, 20) for _ in range(r.randint(1, 2))), fit=_make_random_fit(r))
    assert isinstance(made, Card)
    return replace(
        made,
        bores=tuple(
            replace(
                b, shop=r.randrange(len(made.shops)), is_pitch_unsaid=b.is_pitch_unsaid and b.forward_in is not None
            )
            for b in made.bores
        ),
        inners=tuple(replace(i, bore=r.randrange(bores)) for i in made.inners),
        depths=tuple(replace(d, shop=r.randrange(len(made.shops)), balls=r.randint(1, d.n)) for d in made.depths),
    )


def _make_random_fit(r: random.Random) -> Fit | None:
    if r.random() < 0.1:
        return None
    kind = r.choice(list(DIGITS_OF))
    holes = {digit: _make(Hole, r) if digit in DIGITS_OF[kind] else None for digit in ("thumb", "middle", "ring")}
    made = _make(Fit, r, grip_holes=kind, **holes)
    assert isinstance(made, Fit)
    return made


def _make(of: type, r: random.Random, **given: object) -> object:
    """A random record, each field by its declared type; numbers of a card's own lists are 0."""
    hints = _HINTS[of]
    return of(**{name: given[name] if name in given else _make_value(name, hints[name], r) for name in hints})


def _make_value(name: str, hint: object, r: random.Random) -> object:
    kinds = get_args(hint)
    if type(None) in kinds:
        known = [one for one in kinds if one is not type(None)]
        return None if r.random() < 0.2 else _make_value(name, known[0], r)
    if kinds and all(isinstance(one, str) for one in kinds):
        return r.choice(kinds)
    if get_origin(hint) is tuple:
        return tuple(_exact(r, 0, 8) for _ in range(r.choice((0, 4))))
    makers: dict[type, Callable[[], object]] = {
        Fraction: lambda: _angle(r) if name.endswith("_deg") else _exact(r, *EXACT_RANGES.get(name, (0, 8))),
        int: lambda: 0 if name in {"hardware", "bore", "shop"} else r.choice((1, r.randint(1, 30), 9999)),
        bool: lambda: r.random() < 0.2,
        str: lambda: _words(r, 25),
        bytes: lambda: r.randbytes(6 if name == "series" else 8),
        date: lambda: date(2000, 1, 1) + timedelta(r.randint(0, 73_000)),
    }
    assert isinstance(hint, type)
    return makers[hint]()


def _exact(r: random.Random, low: int, high: int) -> Fraction:
    """An exact number: on the 64ths, in ten-thousandths, in millimetres, any fraction of 64 bits, or an end."""
    match 0 if r.random() < 0.6 else r.randrange(6):
        case 0:
            return Fraction(r.randint(low * 64, high * 64), 64)
        case 1:
            return Fraction(r.randint(low * 10_000, high * 10_000), 10_000)
        case 2:
            top = r.randint(low * 254 // 10 * 10, high * 254 // 10 * 10)
            return Fraction(min(max(top, low * 254), high * 254), 254)
        case 3:
            bottom = r.choice((10**6, 2**50))
            return low + Fraction(r.randint(0, bottom), bottom) * (high - low)
        case end:
            return Fraction(low if end == 4 else high)


def _angle(r: random.Random) -> Fraction:
    return r.choice((Fraction(r.randint(0, 360)), Fraction(r.randint(0, 720), 2), _exact(r, -360, 360)))


def _words(r: random.Random, most: int) -> str:
    return "".join(r.choices(LETTERS, k=r.randint(1, most)))
