"""Simulated pictures of a printed card: a careless telephone, and a label printer of 203 dots an inch."""

import io
import math
import random
from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
import segno
from PIL import Image, ImageDraw, ImageFilter

from app.cards.codes import QUIET_MODULES

Dots = npt.NDArray[np.float32]
PHOTO_DOTS = (1000, 900)  # little: the card fills it, and a module is three to five dots
CARD_DOTS = (856, 540)  # a card of 85.6 x 54 mm, ten dots a millimetre


def to_png(code: segno.QRCode, dots: int = 4) -> bytes:
    """A code as a picture of one bit a dot; 4 dots a module are 0.5 mm at 203 dots an inch."""
    out = io.BytesIO()
    code.save(out, kind="png", scale=dots, border=QUIET_MODULES)
    return out.getvalue()


def lay_on_card(code: bytes) -> Image.Image:
    """A wallet card with the code at its printed size of 0.5 mm a module, and lines of words beside it."""
    card = Image.new("L", CARD_DOTS, 250)
    picture = Image.open(io.BytesIO(code)).convert("L")
    card.paste(picture, (10, (CARD_DOTS[1] - picture.height) // 2))
    draw = ImageDraw.Draw(card)
    for line in range(40, CARD_DOTS[1] - 40, 22):
        draw.line((picture.width + 30, line, CARD_DOTS[0] - 30 - line % 90, line), fill=40, width=6)
    return card


def photograph(card: Image.Image, r: random.Random) -> bytes:
    """A bad photo: turned, in perspective, out of focus or shaken, with glare, shade and grain, as JPEG."""
    photo = _see_askew(card, PHOTO_DOTS, r)
    photo = _blur(photo, r)
    dots = _light(np.asarray(photo, dtype=np.float32), r)
    seen = Image.fromarray(np.clip(dots, 0, 255).astype(np.uint8))
    out = io.BytesIO()
    seen.save(out, "JPEG", quality=r.randint(20, 75))
    return out.getvalue()


def _see_askew(card: Image.Image, size: tuple[int, int], r: random.Random) -> Image.Image:
    """The card on a grey table, turned by any angle and seen aslant, its corners off by up to an eighth."""
    turn, scale = r.uniform(0, 2 * np.pi), r.uniform(0.75, 1.05)
    middle = np.array(size) / 2 + np.array([r.uniform(-60, 60), r.uniform(-60, 60)])
    half = np.array(card.size) / 2 * scale
    turned = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    corners = []
    for x, y in ((-1, -1), (1, -1), (1, 1), (-1, 1)):
        pull = np.array([1 - r.uniform(0, 0.12), 1 - r.uniform(0, 0.12)])
        corners.append(middle + turned @ (np.array([x, y]) * half * pull))
    w, h = card.size
    seen = card.transform(
        size, Image.Transform.PERSPECTIVE, _solve(corners, ((0, 0), (w, 0), (w, h), (0, h))), Image.Resampling.BICUBIC,
        fillcolor=r.randint(60, 190),
    )  # fmt: skip
    return seen


def _solve(seen: Sequence[Sequence[float]], flat: Sequence[tuple[float, float]]) -> list[float]:
    """The eight numbers that take a photo's corners to the card's."""
    rows, right = [], []
    for (x, y), (u, v) in zip(seen, flat, strict=True):
        rows += [[x, y, 1, 0, 0, 0, -u * x, -u * y], [0, 0, 0, x, y, 1, -v * x, -v * y]]
        right += [u, v]
    return [float(one) for one in np.linalg.solve(np.array(rows), np.array(right))]


def _blur(photo: Image.Image, r: random.Random) -> Image.Image:
    """Out of focus by up to a third of a module, or shaken by up to about one."""
    if r.random() < 0.5:
        return photo.filter(ImageFilter.GaussianBlur(r.uniform(0.5, 1.8)))
    length, is_flat = r.choice((3, 5)), r.random() < 0.5
    kernel = [0.0] * (length * length)
    for i in range(length):
        kernel[(length // 2) * length + i if is_flat else i * length + length // 2] = 1.0
    return photo.filter(ImageFilter.Kernel((length, length), kernel))


def _light(dots: Dots, r: random.Random) -> Dots:
    """Shade from one side to the other, a bright spot that washes out, less contrast, and grain."""
    high, wide = dots.shape
    x, y = np.arange(wide, dtype=np.float32), np.arange(high, dtype=np.float32)[:, np.newaxis]
    angle = r.uniform(0, 2 * math.pi)
    slope = (math.cos(angle) * (x / wide - 0.5) + math.sin(angle) * (y / high - 0.5)) * r.uniform(0, 0.8)
    dots = 30 + dots * r.uniform(0.55, 0.85) * (1 + slope)
    far_x, far_y = (
        (x - r.uniform(0.2, 0.8) * wide) / r.uniform(50, 220),
        (y - r.uniform(0.2, 0.8) * high) / r.uniform(50, 220),
    )
    spot = np.exp(-(far_y**2)) * np.exp(-(far_x**2))
    dots = dots + spot * r.uniform(0, 130)
    grain = np.random.default_rng(r.getrandbits(32)).standard_normal(dots.shape, dtype=np.float32)
    lit: Dots = dots + grain * r.uniform(2, 14)
    return lit


def print_label(code: bytes, r: random.Random) -> Image.Image:
    """What a thermal label printer of 203 dots an inch makes of a code of 4 dots a module: dots bleed or fail.

    Each black dot bleeds to its right neighbour with some likelihood, and a few columns of the head are worn out.
    """
    dots = np.asarray(Image.open(io.BytesIO(code)).convert("L")) < 128
    noise = np.random.default_rng(r.getrandbits(32))
    bled = dots.copy()
    bled[:, 1:] |= dots[:, :-1] & (noise.random(dots[:, :-1].shape) < r.uniform(0, 0.6))
    for column in noise.choice(dots.shape[1], 3, replace=False):
        bled[:, column] = False
    return Image.fromarray(np.where(bled, 0, 255).astype(np.uint8))
