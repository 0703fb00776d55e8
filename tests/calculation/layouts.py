"""Layouts for tests, and an outside reference for them: pyproj's geodesics, the fingers at the north pole."""

import math

import numpy as np
from pyproj import Geod

from app.calculation.grip import Hand
from app.calculation.layouts import AxisPoint, LaidOut, Layout, solve_layout
from app.calculation.sphere import Vector

LonLat = tuple[float, float]
POINT, LAYOUT = AxisPoint(4.5, 0.5), Layout(4.0, 35.0, 40.0)
HANDS: tuple[Hand, Hand] = ("right", "left")


def laid_out(hand: Hand = "right", point: AxisPoint = POINT, layout: Layout = LAYOUT) -> LaidOut:
    return solve_layout(27.0, hand, point, layout)


class Globe:
    """The ball with the grip centre at (0, 0), the midline on the equator and right in the east.

    So an axis point is (over, up) itself, the axis line its meridian, and an azimuth is clockwise seen from outside.
    """

    def __init__(self, circumference_in: float = 27.0) -> None:
        self.radius = circumference_in / (2 * math.pi)
        self.geod = Geod(a=self.radius, b=self.radius)

    def find(self, at: Vector) -> LonLat:
        return math.degrees(math.atan2(at[0], at[2])), math.degrees(math.asin(max(-1.0, min(1.0, at[1]))))

    def degrees(self, arc_in: float) -> float:
        return math.degrees(arc_in / self.radius)

    def vector(self, at: LonLat) -> Vector:
        lon, lat = map(math.radians, at)
        return math.sin(lon) * math.cos(lat), math.sin(lat), math.cos(lon) * math.cos(lat)

    def walk(self, start: LonLat, azimuth: float, arc_in: float) -> LonLat:
        lon, lat, _ = self.geod.fwd(*start, azimuth, arc_in)
        return lon, lat

    def azimuth(self, start: LonLat, end: LonLat) -> float:
        return float(self.geod.inv(*start, *end)[0])

    def arc_in(self, start: LonLat, end: LonLat) -> float:
        return float(self.geod.inv(*start, *end)[2])

    def lay(self, hand: Hand, point: AxisPoint, layout: Layout) -> tuple[LonLat, LonLat, LonLat]:
        """Axis point, pin and mass mark as a walk of geodesics."""
        side = 1 if hand == "right" else -1
        axis = (side * self.degrees(point.over_in), self.degrees(point.up_in))
        pin = self.walk(axis, -side * layout.axis_line_deg, layout.pin_axis_in)
        pin_mark_in = math.pi / 2 * self.radius if layout.pin_mark_in is None else layout.pin_mark_in
        return axis, pin, self.walk(pin, self.azimuth(pin, axis) + side * layout.drilling_deg, pin_mark_in)


def random_layouts(seed: int, count: int) -> list[tuple[float, Hand, AxisPoint, Layout]]:
    """Layouts all over the ball, the angles to either side; half of them with a mass mark a quarter away."""
    chance = np.random.default_rng(seed)
    low = [25.6, 0.1, -6.0, 0.2, -179.5, -179.5, 0.2]
    high = [27.4, 12.0, 6.0, 12.5, 179.5, 179.5, 12.5]
    return [
        (c, HANDS[i % 2], AxisPoint(over, up), Layout(p, v, d, None if i % 4 < 2 else k))
        for i, (c, over, up, p, v, d, k) in enumerate(chance.uniform(low, high, (count, 7)).tolist())
    ]
