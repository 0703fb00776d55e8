"""Arrows as SVG paths: where the bottom of a hole goes, seen from outside; y is down."""

from math import hypot


def draw_arrow(x: float, y: float, dx: float, dy: float, head: float = 0.12) -> str:
    """An arrow from (x, y) along (dx, dy); a small cross where there is nothing to point at."""
    size = hypot(dx, dy)
    if size < 1e-6:
        return f"M{x - head:.3f} {y:.3f} h{2 * head:.3f} M{x:.3f} {y - head:.3f} v{2 * head:.3f}"
    ux, uy = dx / size, dy / size
    tip = (x + dx, y + dy)
    left = (tip[0] - head * (ux + 0.6 * uy), tip[1] - head * (uy - 0.6 * ux))
    right = (tip[0] - head * (ux - 0.6 * uy), tip[1] - head * (uy + 0.6 * ux))
    return (
        f"M{x:.3f} {y:.3f} L{tip[0]:.3f} {tip[1]:.3f} "
        f"M{left[0]:.3f} {left[1]:.3f} L{tip[0]:.3f} {tip[1]:.3f} L{right[0]:.3f} {right[1]:.3f}"
    )


def draw_dial(right: float, down: float) -> str:
    """The arrow of a dial of radius 1, as long for any pitch; a small cross for a hole that goes straight."""
    size = hypot(right, down)
    if size < 1e-6:
        return draw_arrow(0, 0, 0, 0, 0.3)
    ux, uy = right / size, down / size
    return draw_arrow(-0.62 * ux, -0.62 * uy, 1.24 * ux, 1.24 * uy, 0.45)
