"""What is drilled away against solids (manifold3d), quadrature over the cross-section (scipy) and closed forms."""

import math
import random
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from manifold3d import Error, Manifold, Mesh64
from scipy.integrate import dblquad

from app.calculation.errors import CannotBuildError
from app.calculation.removed import BalanceHole, Fill, Material, fill_materials, find_gauss, hole_material
from tests.calculation.reference import ReferenceHole, Sphere

SOLIDS = 220
RICHARDSON = 4e-5  # of a volume: two meshes of error h² leave an error of the next order
SAME = 1e-9  # relative, the promise
CLOSED = 1e-12
RADIUS = 13.5 / math.pi
GRAM_OZ = 1 / 28.349523125  # international avoirdupois ounce, by definition
G_CM3 = 2.54**3 * GRAM_OZ  # ounces per cubic inch

STRAIGHT = BalanceHole(0.0, 0.0, 0.0, 0.0, "thumb", 1.5, 2.75, 0.7)
STEEP = BalanceHole(-2.5, 0.4, -0.625, 0.5, "thumb", 1.5, 2.75, 0.7)


def random_hole(pick: random.Random) -> tuple[float, BalanceHole]:
    """A hole at some place, pitches to 5/8, round or oval, with a tube that is trimmed flush or ends below the surface."""
    bore, oval = pick.uniform(0.6, 1.6), pick.choice((0.0, pick.uniform(0.02, 0.4)))
    depth = pick.uniform(1.0, 3.25)
    length = pick.choice((None, pick.uniform(0.3, 0.6) * depth))
    od, id_oval = bore * pick.uniform(0.85, 1.0), pick.choice((0.0, 0.0625))
    fill = Fill(od, 0.68, (od - id_oval) * pick.uniform(0.5, 0.9), length, id_oval, pick.uniform(0, 360))
    return pick.uniform(26.5, 27.1), BalanceHole(
        pick.uniform(-4, 4), pick.uniform(-3, 3), pick.uniform(-0.625, 0.625), pick.uniform(-0.625, 0.625),
        pick.choice(("thumb", "finger")), bore, depth, 0.7, (fill,), oval, pick.uniform(0, 360),
    )  # fmt: skip


class Reference:
    """A hole by the reference's own axis, its columns as meshes of points on their rims, in the mouth and on the floor."""

    def __init__(self, circumference: float, hole: BalanceHole) -> None:
        self.sphere = Sphere(circumference)
        at = self.sphere.degrees(hole.along_in, hole.across_in)
        self.hole = ReferenceHole(self.sphere, at, hole.forward_in, hole.right_in, hole.digit == "thumb")
        self.up = -self.hole.inwards
        self.foot = self.hole.surface - (self.hole.surface @ self.up) * self.up
        # the collar rests on the highest place that a round bit's rim leaves on the ball
        bit = self.points(hole.bore_in, 0.0, 0.0, 7200)
        self.floor = float(self.heights(bit).max()) - hole.depth_in

    def points(self, bit: float, oval: float, oval_deg: float, facets: int) -> np.ndarray:
        turn = math.radians(oval_deg)
        w = math.cos(turn) * self.hole.along + math.sin(turn) * self.hole.right
        w = w - (w @ self.up) * self.up
        w = w / np.linalg.norm(w)
        turns, side = 2 * np.pi * np.arange(facets) / facets, np.zeros(facets)
        if oval:  # both ends of either straight side, and places between
            straight = np.linspace(-1, 1, facets // 8 + 1)
            half = np.pi * (np.arange(1, facets // 2) * 2 / facets - 0.5)
            turns = np.hstack(
                [half, np.full(len(straight), np.pi / 2), half + np.pi, np.full(len(straight), 1.5 * np.pi)]
            )
            side = np.hstack([np.ones(len(half)), -straight, -np.ones(len(half)), straight])
        ring = np.outer(np.cos(turns), w) + np.outer(np.sin(turns), np.cross(self.up, w))
        return np.asarray(self.foot + bit / 2 * ring + np.outer(side * oval / 2, w))

    def heights(self, q: np.ndarray) -> np.ndarray:
        return np.asarray(np.sqrt(self.sphere.radius**2 - (q**2).sum(axis=-1)))

    def column(
        self, bit: float, oval: float, oval_deg: float, facets: int, length: float | None, below: float = 0.0
    ) -> Manifold:
        rim = self.points(bit, oval, oval_deg, facets)
        rings, facets = facets // 8, len(rim)
        shares = np.arange(rings + 1)[::-1, None, None] / rings
        mouth = (self.foot + shares * (rim - self.foot)).reshape(-1, 3)[: rings * facets + 1]
        tops = np.full(len(mouth), self.floor + length) if length is not None else self.heights(mouth)
        corners = np.vstack(
            [
                rim + (self.floor - below) * self.up,
                mouth + np.outer(tops, self.up),
                self.foot + (self.floor - below) * self.up,
            ]
        )
        i, level = np.arange(facets), np.arange(rings)[:, None] * facets
        after, last = (i + 1) % facets, len(corners) - 1
        walls = [
            [level + i, level + after, level + facets + after],
            [level + i, level + facets + after, level + facets + i],
        ]
        ends = [
            [rings * facets + i, rings * facets + after, np.full(facets, last - 1)],
            [after, i, np.full(facets, last)],
        ]
        faces = np.vstack([np.stack(np.broadcast_arrays(*f), -1).reshape(-1, 3) for f in (*walls, *ends)])
        made = Manifold(Mesh64(np.ascontiguousarray(corners), faces.astype(np.uint64)))
        assert made.status() == Error.NoError
        return made

    def hole_solid(self, hole: BalanceHole, facets: int) -> Manifold:
        return self.column(hole.bore_in, hole.oval_in, hole.oval_deg, facets, None)

    def fill_solid(self, fill: Fill, facets: int) -> Manifold:
        outside = self.column(fill.od_in, 0.0, 0.0, facets, fill.length_in)
        return outside - self.column(fill.id_in, fill.id_oval_in, fill.id_oval_deg, facets, length=5.0, below=0.5)


def measure(solid: Manifold) -> np.ndarray:
    """(volume, first moment) of a mesh: the tetrahedra between its triangles and the origin."""
    mesh = solid.to_mesh64()
    a, b, c = (np.asarray(mesh.vert_properties)[np.asarray(mesh.tri_verts)[:, i], :3].astype(float) for i in range(3))
    volumes = np.einsum("ij,ij->i", a, np.cross(b, c)) / 6
    return np.array([volumes.sum(), *(volumes[:, None] * (a + b + c) / 4).sum(axis=0)])


def told(material: Material) -> np.ndarray:
    return np.array([material.volume_in3, *material.moment_in4])


def test_volumes_and_moments_agree_with_solids() -> None:
    # outside source: manifold3d. Meshes of points on the true surface fall short by an error of h²: that of the
    # finer one is a third of what it differs from the coarser by, and Richardson's step takes it away
    pick = random.Random(20261127)
    for _ in range(SOLIDS // 2):
        circumference, hole = random_hole(pick)
        reference = Reference(circumference, hole)
        fill = hole.fills[0]
        coarse, fine = (measure(reference.hole_solid(hole, n)) for n in (48, 96))
        compare(told(hole_material(hole, circumference)), coarse, fine)
        coarse, fine = (measure(reference.fill_solid(fill, n)) for n in (48, 96))
        compare(told(fill_materials(hole, circumference)[0]), coarse, fine)


def compare(ours: np.ndarray, coarse: np.ndarray, fine: np.ndarray) -> None:
    size = fine[0] * np.array([1.0, RADIUS, RADIUS, RADIUS])
    assert np.abs(fine - coarse).max() < 0.01 * size.max()  # the bound that the meshes state of themselves
    assert np.abs(ours - (4 * fine - coarse) / 3) / size == pytest.approx(np.zeros(4), abs=RICHARDSON)


@pytest.mark.parametrize(
    ("circumference", "hole"),
    [
        (27.0, STEEP),
        (27.0, replace(STEEP, oval_in=0.3, oval_deg=30.0)),
        (26.7, replace(STEEP, digit="finger", bore_in=0.9, depth_in=1.0, oval_in=0.1, oval_deg=250.0)),
        (25.5, replace(STEEP, bore_in=3.0, forward_in=-1.5, right_in=1.4)),  # as far as the API goes
        (27.0, replace(STEEP, bore_in=0.5, forward_in=-0.25, right_in=0.0)),  # the axis passes just outside its rim
    ],
)
def test_volumes_and_moments_agree_with_quadrature(circumference: float, hole: BalanceHole) -> None:
    # outside source: scipy.integrate.dblquad over the cross-section, the sphere's own height over every point of it
    reference = Reference(circumference, hole)
    radius, up, foot = reference.sphere.radius, reference.up, reference.foot
    b, p, half = hole.bore_in / 2, math.hypot(hole.forward_in, hole.right_in), hole.oval_in / 2
    floor = math.sqrt(radius**2 - (b - p) ** 2) - hole.depth_in
    w = reference.points(2.0, 0.0, hole.oval_deg, 4)[0] - foot
    side = np.cross(up, w)
    x0, y0 = foot @ w, foot @ side

    def over(weight: int) -> float:
        def height(v: float, u: float) -> float:
            q = (x0 + u, y0 + v)
            top = math.sqrt(radius**2 - q[0] ** 2 - q[1] ** 2)
            return (top - floor, q[0] * (top - floor), q[1] * (top - floor), (top**2 - floor**2) / 2)[weight]

        def across(u: float) -> float:
            return math.sqrt(max(0.0, b * b - max(0.0, abs(u) - half) ** 2))

        ends = sorted({-half - b, -half, half, half + b})
        pieces = [
            dblquad(height, low, high, lambda u: -across(u), across, epsabs=1e-12, epsrel=1e-12)[0]
            for low, high in pairwise(ends)
        ]
        return math.fsum(pieces)

    ours = hole_material(hole, circumference)
    moment = over(1) * w + over(2) * side + over(3) * up
    assert ours.volume_in3 == pytest.approx(over(0), rel=SAME)
    assert np.array(ours.moment_in4) == pytest.approx(moment, abs=SAME * float(np.linalg.norm(moment)))


def test_a_hole_without_pitch_is_a_cylinder_and_a_cap() -> None:
    # source: closed forms of solid geometry. Cap of height h: πh²(3R − h)/3; its first moment: π(R² − e²)²/4, e its base
    edge = math.sqrt(RADIUS**2 - 0.75**2)
    floor, cap = edge - 2.75, RADIUS - edge
    ours = hole_material(STRAIGHT, 27.0)
    base = math.pi * 0.75**2
    assert ours.volume_in3 == pytest.approx(base * 2.75 + math.pi * cap**2 * (3 * RADIUS - cap) / 3, rel=CLOSED)
    moment = base * (edge**2 - floor**2) / 2 + math.pi * (RADIUS**2 - edge**2) ** 2 / 4
    assert ours.moment_in4 == pytest.approx((0.0, 0.0, moment), abs=CLOSED * moment)


def test_places_and_weights_of_the_quadrature() -> None:
    # outside source: numpy.polynomial.legendre
    for count in (2, 5, 24):
        places, weights = np.polynomial.legendre.leggauss(count)
        assert np.array(sorted(find_gauss(count))) == pytest.approx(np.stack([places, weights], -1), abs=1e-13)


def test_a_fill_of_a_given_length_is_a_prism_on_the_floor() -> None:
    # source: closed form; a straight hole's axis is the ball's, and an oval is two half circles and a rectangle
    edge = math.sqrt(RADIUS**2 - 0.75**2)
    hole = replace(STRAIGHT, fills=(Fill(1.25, 0.7, 0.75, 2.0, 0.125, 40.0),))
    area = math.pi * (0.625**2 - 0.375**2) - 0.75 * 0.125
    got = fill_materials(hole, 27.0)[0]
    assert told(got) == pytest.approx(area * np.array([2.0, 0.0, 0.0, 2.0 * (edge - 2.75 + 1.0)]), abs=1e-12)


def test_the_moment_turns_with_the_place_and_mirrors_with_the_hand() -> None:
    pitched = replace(STEEP, along_in=0.0, across_in=0.0)
    x, y, z = hole_material(pitched, 27.0).moment_in4
    turned = hole_material(replace(pitched, along_in=27 / 8), 27.0).moment_in4
    c = math.sqrt(0.5)
    assert turned == pytest.approx((x, c * (y + z), c * (z - y)), rel=CLOSED)
    mirrored = hole_material(replace(pitched, right_in=-0.5), 27.0)
    assert mirrored.moment_in4 == pytest.approx((-x, y, z), rel=CLOSED)
    finger = hole_material(replace(pitched, digit="finger", forward_in=0.625), 27.0)
    assert finger.moment_in4 == pytest.approx((x, y, z), rel=CLOSED)


def test_a_slug_of_the_whole_hole_puts_back_all_that_was_drilled() -> None:
    hole = replace(STEEP, fills=(Fill(1.5, 0.7),))
    assert told(fill_materials(hole, 27.0)[0]) == pytest.approx(told(hole_material(hole, 27.0)), rel=CLOSED)


def test_sleeve_and_inner_are_as_much_as_one_tube_of_both() -> None:
    two = replace(STEEP, fills=(Fill(1.25, 0.68, 0.9375), Fill(1.5, 0.68, 1.25)))
    one = replace(STEEP, fills=(Fill(1.5, 0.68, 0.9375),))
    inner, sleeve = (told(m) for m in fill_materials(two, 27.0))
    assert inner + sleeve == pytest.approx(told(fill_materials(one, 27.0)[0]), rel=1e-11)


# weights of cylinders at 1.20 g/cm³: the project's own table of the trade, worked by hand
@pytest.mark.parametrize(
    ("bit", "length", "grams", "ounces"),
    [(31 / 32, 2.0, 29.0, 1.02), (31 / 32, 1.75, 25.4, 0.89), (1.0, 2.75, 42.5, 1.50), (1.25, 2.75, 66.4, 2.34), (1.5, 3.0, 104.0, 3.68)],
)  # fmt: skip
def test_a_tube_of_a_given_length_weighs_as_its_cylinder(
    bit: float, length: float, grams: float, ounces: float
) -> None:
    hole = replace(STRAIGHT, bore_in=bit, depth_in=length + 0.5, fills=(Fill(bit, 1.2 * G_CM3, 0.0, length),))
    weight = fill_materials(hole, 27.0)[0].volume_in3 * 1.2 * G_CM3
    assert weight == pytest.approx(ounces, abs=0.005)
    assert weight / GRAM_OZ == pytest.approx(grams, abs=0.5 if grams > 100 else 0.1)


@pytest.mark.parametrize(
    ("diameter", "depth", "printed", "within"),
    [
        (8.5, 3.5, 313.0, 0.5),  # source: textbook exercise with flat-ended holes, printed without decimals
        (10.0, 3.0, 516.27, 0.3),  # source: textbook exercise, worked with π = 3.14; 516.530 with π
    ],
)
def test_a_ball_less_three_holes_has_the_volume_of_the_textbook(
    diameter: float, depth: float, printed: float, within: float
) -> None:
    circumference = math.pi * diameter
    hole = hole_material(replace(STRAIGHT, bore_in=1.0, depth_in=depth), circumference)
    left = math.pi * diameter**3 / 6 - 3 * hole.volume_in3
    flat = math.pi * diameter**3 / 6 - 3 * math.pi / 4 * depth
    assert flat - 0.05 < left < flat  # the textbook's holes have no cap over their mouth
    assert left == pytest.approx(printed, abs=within)


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"depth_in": 0.1}, "depth_in"), ({"depth_in": 9.0}, "depth_in"), ({"bore_in": 7.2}, "bore_in"), ({"forward_in": 4.0}, "bore_in"), ({"forward_in": 4.5}, "forward_in"),
        ({"oval_in": 6.0}, "oval_in"), ({"along_in": 14.0}, "along_in"), ({"across_in": 6.9}, "across_in"),
    ],
)  # fmt: skip
def test_a_hole_that_cannot_be_is_refused(change: dict[str, float], field: str) -> None:
    with pytest.raises(CannotBuildError) as refused:
        hole_material(replace(STEEP, **change), 27.0)  # type: ignore[arg-type]
    assert refused.value.field == field


@pytest.mark.parametrize("hole", [STRAIGHT, STEEP])
def test_a_floor_that_reaches_the_far_side_of_the_ball_is_the_deepest(hole: BalanceHole) -> None:
    # closed form: the collar rests √(R² − (p − r)²) above the mid-plane, the floor's rim meets the ball √(R² − (p + r)²)
    # below it, with p the pitch and r the bit's radius
    pitch_in, bit_in = math.hypot(hole.forward_in, hole.right_in), hole.bore_in / 2
    above, below = (math.sqrt(RADIUS**2 - (pitch_in + way * bit_in) ** 2) for way in (-1, 1))
    deepest = replace(hole, depth_in=above + below - 1e-6)
    column_in3 = math.pi * bit_in**2 * 2 * below  # at the least: between both rims, without what is above the upper one
    assert hole_material(deepest, 27.0).volume_in3 > column_in3 - 1e-5
    with pytest.raises(CannotBuildError, match="other side") as refused:
        hole_material(replace(hole, depth_in=above + below + 1e-6), 27.0)
    assert refused.value.field == "depth_in"


@pytest.mark.parametrize(
    ("fills", "field"),
    [
        ([Fill(1.51, 0.7)], "fills.0.od_in"),
        ([Fill(1.5, 0.7, 1.5)], "fills.0.id_in"),
        ([Fill(1.5, 0.7, 1.0), Fill(1.25, 0.7, 0.9, id_oval_in=0.4)], "fills.1.id_in"),
        ([Fill(1.25, 0.7, 1.0), Fill(1.5, 0.7, 1.2)], "fills.0.od_in"),
        ([Fill(1.5, 0.7, 1.25), Fill(1.25, 0.7, 1.0, 2.75)], "fills.1.length_in"),
    ],
)
def test_fills_that_do_not_go_in_are_refused(fills: list[Fill], field: str) -> None:
    with pytest.raises(CannotBuildError) as refused:
        fill_materials(replace(STEEP, fills=tuple(fills)), 27.0)
    assert refused.value.field == field


def test_a_fill_may_just_reach_the_lowest_place_of_its_rim() -> None:
    lowest = math.sqrt(RADIUS**2 - (math.hypot(0.625, 0.5) + 0.625) ** 2)
    highest = math.sqrt(RADIUS**2 - (math.hypot(0.625, 0.5) - 0.75) ** 2)
    room = lowest - (highest - 2.75)
    area = math.pi * 0.625**2
    fitting = replace(STEEP, fills=(Fill(1.25, 0.7, 0.0, room - 1e-9),))
    assert fill_materials(fitting, 27.0)[0].volume_in3 == pytest.approx(area * room, rel=SAME)
    with pytest.raises(CannotBuildError):
        fill_materials(replace(STEEP, fills=(Fill(1.25, 0.7, 0.0, room + 1e-9),)), 27.0)
