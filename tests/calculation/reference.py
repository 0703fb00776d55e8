"""An independent reference for the grip: pyproj geodesics on a sphere, numpy geometry, scipy root finding.

It shares no code with `app.calculation`: places are latitudes and longitudes, edges are found by bisection on the
distance from a line in space, and the five conditions are solved as five equations in five unknowns.
"""

import math
from dataclasses import dataclass

import numpy as np
from pyproj import Geod
from scipy.optimize import brentq, fsolve

from tests.calculation.grips import Json


@dataclass
class Sphere:
    circumference_in: float

    def __post_init__(self) -> None:
        self.radius = self.circumference_in / (2 * math.pi)
        self.geod = Geod(a=self.radius, b=self.radius)

    def degrees(self, along_in: float, across_in: float) -> tuple[float, float]:
        """(longitude, latitude): the centre line is the equator, so along is longitude and across is latitude."""
        return math.degrees(along_in / self.radius), math.degrees(across_in / self.radius)

    def point(self, lon: float, lat: float) -> np.ndarray:
        """In the ball's frame: x right, y to the fingers, z out through the grip centre."""
        lon, lat = math.radians(lon), math.radians(lat)
        return self.radius * np.array([math.sin(lat), math.cos(lat) * math.sin(lon), math.cos(lat) * math.cos(lon)])

    def arc(self, a: tuple[float, float], b: tuple[float, float]) -> tuple[float, float]:
        """(azimuth at a towards b in degrees, arc length in inches)."""
        azimuth, _, distance = self.geod.inv(*a, *b)
        return azimuth, distance

    def walked(self, a: tuple[float, float], azimuth: float, distance: float) -> tuple[float, float]:
        lon, lat, _ = self.geod.fwd(*a, azimuth, distance)
        return lon, lat


@dataclass
class ReferenceHole:
    """A hole at (longitude, latitude) with its axis as a point and a unit direction."""

    sphere: Sphere
    at: tuple[float, float]
    forward_in: float
    right_in: float
    is_thumb: bool

    def __post_init__(self) -> None:
        surface = self.sphere.point(*self.at)
        out = surface / np.linalg.norm(surface)
        along = np.array([0.0, 1.0, 0.0]) - out[1] * out
        along /= np.linalg.norm(along)
        right = np.cross(along, out)
        v = (1 if self.is_thumb else -1) * self.forward_in * along + self.right_in * right
        # the axis passes the surface point and misses the centre by |v|: solve the inward direction -k*out + v/R
        k = math.sqrt(1 - float(v @ v) / self.sphere.radius**2)
        self.surface, self.inwards, self.along, self.right = surface, -k * out + v / self.sphere.radius, along, right

    def distance(self, p: np.ndarray, oval_in: float = 0.0, oval_deg: float = 0.0) -> float:
        """Least distance of a point from the axis, or from the strip an oval's axis sweeps, square to the axis."""
        w = math.cos(math.radians(oval_deg)) * self.along + math.sin(math.radians(oval_deg)) * self.right
        w = w - (w @ self.inwards) * self.inwards
        w /= np.linalg.norm(w)
        relative = p - self.surface
        flat = relative - (relative @ self.inwards) * self.inwards
        nearest = np.clip(flat @ w, -oval_in / 2, oval_in / 2) * w
        return float(np.linalg.norm(flat - nearest))

    def edge(self, azimuth: float, diameter: float, oval_in: float = 0.0, oval_deg: float = 0.0) -> float:
        """Inches of arc from the centre to the edge in a direction, by bisection."""

        def gap(distance: float) -> float:
            return self.distance(
                self.sphere.point(*self.sphere.walked(self.at, azimuth, distance)), oval_in, oval_deg
            ) - (diameter / 2)

        return float(brentq(gap, 1e-6, 1.4 * (diameter + oval_in), xtol=1e-14))


def solve(body: Json) -> Json:
    """The contract's answer for a grip request body, worked out the long way round."""
    sphere = Sphere(body["circumference_in"])
    side = -1 if body["hand"] == "right" else 1
    thumb, fingers, sleeve = body["thumb"], (body["middle"], body["ring"]), body["sleeve_od_in"]

    def holes(x: np.ndarray) -> tuple[ReferenceHole, ReferenceHole, ReferenceHole]:
        places = [sphere.degrees(x[0], 0.0), sphere.degrees(x[1], x[2]), sphere.degrees(x[3], x[4])]
        specs = (thumb, *fingers)
        made = [
            ReferenceHole(sphere, at, s["forward_in"], s["right_in"], i == 0)
            for i, (at, s) in enumerate(zip(places, specs, strict=True))
        ]
        return made[0], made[1], made[2]

    def span(t: ReferenceHole, f: ReferenceHole, spec: dict[str, float], edges: str) -> float:
        azimuth, distance = sphere.arc(t.at, f.at)
        back, _ = sphere.arc(f.at, t.at)
        near = (
            t.edge(azimuth, sleeve)
            if edges == "sleeve"
            else t.edge(azimuth, thumb["hole_in"], thumb["oval_in"], thumb["oval_deg"])
        )
        return distance - near - f.edge(back, spec["hole_in"] if edges == "finished" else spec["cut_in"])

    def bridge(m: ReferenceHole, r: ReferenceHole, key: str) -> tuple[float, float]:
        """(bridge, latitude of the middle between the facing edges)."""
        azimuth, distance = sphere.arc(m.at, r.at)
        back, _ = sphere.arc(r.at, m.at)
        from_m, from_r = m.edge(azimuth, fingers[0][key]), r.edge(back, fingers[1][key])
        middle = sphere.walked(m.at, azimuth, (from_m + distance - from_r) / 2)
        return distance - from_m - from_r, middle[1]

    def conditions(x: np.ndarray) -> list[float]:
        t, m, r = holes(x)
        wide, _ = bridge(m, r, "hole_in" if body["bridge_edges"] == "finished" else "cut_in")
        _, latitude = bridge(m, r, "cut_in")
        half = (span(t, m, fingers[0], "cut") + span(t, r, fingers[1], "cut")) / 4
        towards_fingers = 90.0
        return [
            span(t, m, fingers[0], body["span_edges"]) - fingers[0]["span_in"],
            span(t, r, fingers[1], body["span_edges"]) - fingers[1]["span_in"],
            wide - body["bridge_in"],
            math.radians(latitude) * sphere.radius,
            x[0] + t.edge(towards_fingers, thumb["hole_in"], thumb["oval_in"], thumb["oval_deg"]) + half,
        ]

    start = np.array([-2.4, 2.4, side * 0.6, 2.4, -side * 0.6])
    x, _, ok, message = fsolve(conditions, start, xtol=1e-13, full_output=True)
    if ok != 1 and max(map(abs, conditions(x))) > 1e-9:
        raise ValueError(message)
    t, m, r = holes(x)
    return {
        "holes": {
            "thumb": {"along_in": x[0], "across_in": 0.0},
            "middle": {"along_in": x[1], "across_in": x[2]},
            "ring": {"along_in": x[3], "across_in": x[4]},
        },
        "spans": {
            name: {
                "cut_in": span(t, f, spec, "cut"),
                "finished_in": span(t, f, spec, "finished"),
                "sleeve_to_cut_in": span(t, f, spec, "sleeve") if sleeve else None,
            }
            for name, f, spec in (("middle", m, fingers[0]), ("ring", r, fingers[1]))
        },
        "bridge": {"cut_in": bridge(m, r, "cut_in")[0], "finished_in": bridge(m, r, "hole_in")[0]},
    }
