"""Grips with fewer holes, an offset thumb, lifted and oval insides, and holes that are already in the ball.

References: the written numbers of the calculation contract, and solvers of scipy on the conditions as written, with
edges by scipy's root finding on the distance from a line; nothing of the app is in them.
"""

from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.optimize import brentq, root

from app.calculation.errors import CannotBuildError
from app.calculation.grip import Finger, Grip, Thumb
from app.calculation.grip_solver import solve_grip
from app.schemas.calc_grips import GripIn, GripOut
from tests.calculation.grips import EXAMPLE, Json
from tests.conftest import Client

Vec = NDArray[np.float64]
R = 27 / (2 * np.pi)


# The reference: conditions as written, by scipy -----------------------------------------------------------------------


def at(along: float, across: float) -> Vec:
    a, x = along / R, across / R
    return np.array([np.sin(x), np.cos(x) * np.sin(a), np.cos(x) * np.cos(a)])


def line(c: Vec, forward: float, right: float, kind: int) -> tuple[Vec, Vec, Vec]:
    """(direction inwards, long, right) of a hole at a unit vector."""
    long = np.array([0.0, 1.0, 0.0]) - c[1] * c
    long /= np.linalg.norm(long)
    across = np.cross(long, c)
    v = kind * forward * long + right * across
    return -np.sqrt(1 - v @ v / R**2) * c + v / R, long, across


def square_to(d: Vec, long: Vec, across: Vec, clock: float) -> Vec:
    w = np.cos(np.radians(clock)) * long + np.sin(np.radians(clock)) * across
    w = w - (w @ d) * d
    found: Vec = w / np.linalg.norm(w)
    return found


def edge(c: Vec, towards: Vec, hole: Json, kind: int, size: float, inside: bool = False) -> float:
    """Radians from a hole's centre to its edge towards a point of the ball."""
    d, long, across = line(c, hole["forward_in"], hole["right_in"], kind)
    t = towards - (towards @ c) * c
    t /= np.linalg.norm(t)
    start, oval, clock = R * c, 0.0, 0.0
    if inside and hole.get("lift_in"):
        start = start + hole["lift_in"] * square_to(d, long, across, hole["lift_deg"])
    if (inside or kind == 1) and hole.get("oval_in") and size == hole["hole_in"]:
        oval, clock = hole["oval_in"], hole["oval_deg"]
    w = square_to(d, long, across, clock)

    def gap(phi: float) -> float:
        q = R * (np.cos(phi) * c + np.sin(phi) * t) - start
        q = q - (q @ d) * d
        q = q - np.clip(q @ w, -oval / 2, oval / 2) * w
        return float(np.linalg.norm(q) - size / 2)

    inner = float((start - R * c) @ t / R)
    return float(brentq(gap, inner, inner + 0.5, xtol=1e-15))


def arc(a: Vec, b: Vec) -> float:
    return float(np.arctan2(np.linalg.norm(np.cross(a, b)), a @ b))


def midpoint_across(m: Vec, r: Vec, middle: Json, ring: Json) -> float:
    """Across of the middle between the facing cut edges, as a number that is 0 on the centre line."""
    em, er = edge(m, r, middle, -1, middle["cut_in"]), edge(r, m, ring, -1, ring["cut_in"])
    t = r - (r @ m) * m
    t /= np.linalg.norm(t)
    half = em + (arc(m, r) - em - er) / 2
    return float((np.cos(half) * m + np.sin(half) * t)[0])


def size_of(hole: Json, edges: str) -> tuple[float, bool]:
    return (hole["hole_in"], True) if edges == "finished" else (hole["cut_in"], False)


def bridge_of(m: Vec, r: Vec, middle: Json, ring: Json, edges: str) -> float:
    a, b = size_of(middle, edges), size_of(ring, edges)
    return R * (arc(m, r) - edge(m, r, middle, -1, *a) - edge(r, m, ring, -1, *b))


def solved_by(conditions: Callable[[Vec], list[float]], start: list[float]) -> Vec:
    found = root(conditions, start, method="hybr", tol=1e-13)
    assert np.max(np.abs(found.fun)) < 1e-10
    return np.asarray(found.x)


def place_without_thumb(body: Json) -> Vec:
    """(along, across) of middle and ring, in a row."""
    m, r, g = body["middle"], body["ring"], at(0, 0)
    side = -1 if body["hand"] == "right" else 1

    def conditions(x: Vec) -> list[float]:
        cm, cr = at(x[0], x[1]), at(x[2], x[3])
        reaches = [
            R * (arc(g, c) - edge(c, g, hole, -1, *size_of(hole, body["span_edges"]))) - hole["reach_in"]
            for c, hole in ((cm, m), (cr, r))
        ]
        bridge = bridge_of(cm, cr, m, r, body["bridge_edges"]) - body["bridge_in"]
        return [*reaches, bridge, midpoint_across(cm, cr, m, r)]

    return solved_by(conditions, [m["reach_in"] + 0.5, side * 0.6, r["reach_in"] + 0.5, -side * 0.6])


def place_one_finger(body: Json, digit: str) -> Vec:
    """(along of the thumb, along of the finger)."""
    thumb, finger = body["thumb"], body[digit]

    def conditions(x: Vec) -> list[float]:
        t, f = at(x[0], 0), at(x[1], 0)
        et, ef = edge(t, f, thumb, 1, thumb["hole_in"]), edge(f, t, finger, -1, *size_of(finger, body["span_edges"]))
        cut = R * (arc(t, f) - et - edge(f, t, finger, -1, finger["cut_in"]))
        return [R * (arc(t, f) - et - ef) - finger["span_in"], x[0] + R * et + cut / 2]

    return solved_by(conditions, [-finger["span_in"] / 2 - 0.5, finger["span_in"] / 2 + 0.5])


def place_three(body: Json) -> Vec:
    """(along of the thumb, then along and across of middle and ring); the thumb stands off the line by its offset."""
    t, m, r = body["thumb"], body["middle"], body["ring"]
    side = -1 if body["hand"] == "right" else 1

    def conditions(x: Vec) -> list[float]:
        ct, cm, cr = at(x[0], t["offset_in"]), at(x[1], x[2]), at(x[3], x[4])
        spans, cuts = [], []
        for c, hole in ((cm, m), (cr, r)):
            et = edge(ct, c, t, 1, t["hole_in"])
            spans.append(R * (arc(ct, c) - et - edge(c, ct, hole, -1, *size_of(hole, body["span_edges"]))))
            cuts.append(R * (arc(ct, c) - et - edge(c, ct, hole, -1, hole["cut_in"])))
        long = line(ct, 0, 0, 1)[1]
        ahead_edge = edge(ct, np.cos(0.3) * ct + np.sin(0.3) * long, t, 1, t["hole_in"])
        ahead = np.cos(ahead_edge) * ct + np.sin(ahead_edge) * long
        return [
            spans[0] - m["span_in"],
            spans[1] - r["span_in"],
            bridge_of(cm, cr, m, r, body["bridge_edges"]) - body["bridge_in"],
            midpoint_across(cm, cr, m, r),
            R * np.arctan2(ahead[1], ahead[2]) + sum(cuts) / 4,
        ]

    return solved_by(conditions, [-2.5, 2.4, side * 0.6, 2.5, -side * 0.6])


# Random grips ---------------------------------------------------------------------------------------------------------


def random_finger(chance: np.random.Generator, field: str, low: float) -> Json:
    cut = float(chance.uniform(0.8, 1.1))
    return {
        field: float(chance.uniform(low, low + 0.6)), "cut_in": cut, "hole_in": float(chance.uniform(0.5, cut - 0.25)),
        "forward_in": float(chance.uniform(-0.5, 0.5)), "right_in": float(chance.uniform(-0.4, 0.4)),
        "lift_in": float(chance.uniform(0.0, 0.06)), "lift_deg": float(chance.uniform(0, 360)),
        "oval_in": float(chance.uniform(0.0, 0.1)), "oval_deg": float(chance.uniform(0, 360)),
    }  # fmt: skip


def random_body(seed: int, kind: str) -> Json:
    chance = np.random.default_rng(seed)
    field, low = ("reach_in", 1.8) if kind == "no thumb" else ("span_in", 3.7)
    middle = random_finger(chance, field, low)
    ring = random_finger(chance, field, middle[field] - 0.2)
    thumb = {
        "hole_in": float(chance.uniform(0.85, 1.1)), "oval_in": float(chance.uniform(0, 0.12)),
        "oval_deg": float(chance.uniform(0, 360)), "forward_in": float(chance.uniform(-0.6, 0.4)),
        "right_in": float(chance.uniform(-0.4, 0.4)), "offset_in": float(chance.uniform(-0.4, 0.4)),
    }  # fmt: skip
    body = {
        "circumference_in": 27.0, "hand": ["right", "left"][seed % 2], "sleeve_od_in": None, "thumb": thumb,
        "middle": middle, "ring": ring, "span_edges": ["cut", "finished"][seed // 2 % 2],
        "bridge_in": float(chance.uniform(0.2, 0.5)), "bridge_edges": ["cut", "finished"][seed // 4 % 2],
    }  # fmt: skip
    if kind == "no thumb":
        body["thumb"] = None
    elif kind in {"middle", "ring"}:
        thumb["offset_in"] = 0.0
        body |= {"bridge_in": None, "ring" if kind == "middle" else "middle": None}
    return body


def answer(body: Json) -> Json:
    return GripOut.of(solve_grip(GripIn.model_validate(body).to_grip())).model_dump()


def along_across(found: Json, *names: str) -> list[float]:
    return [found["holes"][name][part] for name in names for part in ("along_in", "across_in")]


@pytest.mark.parametrize("block", range(4))
def test_random_grips_agree_with_an_independent_solver(block: int, tell: Callable[[str], None]) -> None:
    worst = 0.0
    for seed in range(block * 125, block * 125 + 125):
        kind = ("no thumb", "middle", "ring", "offset", "offset")[seed % 5]
        body = random_body(seed, kind)
        found = answer(body)
        if kind == "no thumb":
            got, wanted = along_across(found, "middle", "ring"), place_without_thumb(body)
        elif kind == "offset":
            got, wanted = along_across(found, "thumb", "middle", "ring"), place_three(body)
            assert got.pop(1) == pytest.approx(body["thumb"]["offset_in"], abs=1e-12)
        else:
            got = [found["holes"][name]["along_in"] for name in ("thumb", kind)]
            wanted = place_one_finger(body, kind)
            assert found["holes"]["middle" if kind == "ring" else "ring"] is None
        worst = max(worst, float(np.max(np.abs(np.array(got) - wanted))))
    assert worst < 1e-6
    tell(f"125 grips of fewer or other holes against scipy: worst {worst:.1e} in")


# The contract's numbers -----------------------------------------------------------------------------------------------


def fingers(**more: float) -> Json:
    """The fingers of the contract's body, without their spans."""
    return {n: {k: v for k, v in EXAMPLE[n].items() if k != "span_in"} | more for n in ("middle", "ring")}


def test_without_a_thumb_the_fingers_stand_where_the_contract_says(client: Client) -> None:
    made = fingers()
    made["middle"]["reach_in"], made["ring"]["reach_in"] = 2.0, 2.125
    got = client.post("/api/v1/calc/grip", json=EXAMPLE | made | {"thumb": None, "sleeve_od_in": None}).json()
    assert along_across(got, "middle", "ring") == pytest.approx([2.417505, -0.607353, 2.546569, 0.607990], abs=5e-7)
    assert (got["holes"]["thumb"], got["spans"]) == (None, {"middle": None, "ring": None})
    assert got["reaches"]["ring"]["cut_in"] == pytest.approx(2.125, abs=1e-9)
    for name in ("middle", "ring"):
        c = at(got["holes"][name]["along_in"], got["holes"][name]["across_in"])
        finished = R * (arc(at(0, 0), c) - edge(c, at(0, 0), made[name], -1, made[name]["hole_in"], inside=True))
        assert got["reaches"][name]["finished_in"] == pytest.approx(finished, abs=1e-9)
    assert (got["webs"]["thumb_middle_in"], got["webs"]["thumb_ring_in"]) == (None, None)
    assert got["bridge"]["cut_in"] == pytest.approx(0.25, abs=1e-9)


def test_one_finger_and_a_thumb_stand_where_the_contract_says(client: Client) -> None:
    one = {"ring": None, "bridge_in": None, "bridge_edges": None}
    got = client.post("/api/v1/calc/grip", json=EXAMPLE | one).json()
    assert along_across(got, "thumb", "middle") == pytest.approx([-2.490573, 0, 2.484633, 0], abs=5e-7)
    spans = got["spans"]["middle"]
    assert [spans[n] for n in ("finished_in", "sleeve_to_cut_in")] == pytest.approx([4.140734, 3.739297], abs=5e-7)
    assert (got["holes"]["ring"], got["spans"]["ring"], got["bridge"]) == (None, None, None)


def least_web(body: Json, got: Json, names: tuple[str, str], wide: tuple[float, float]) -> float:
    """By numpy: the least distance between points of two axes, each down to its depth, less half of both widths."""
    points = []
    for name, depths in zip(
        names, np.meshgrid(*(np.linspace(0, body[n]["depth_in"], 801) for n in names)), strict=True
    ):
        c = at(got["holes"][name]["along_in"], got["holes"][name]["across_in"])
        d = line(c, body[name]["forward_in"], body[name]["right_in"], 1 if name == "thumb" else -1)[0]
        points.append(R * c + depths[..., None] * d)
    return float(np.min(np.linalg.norm(points[0] - points[1], axis=-1))) - sum(wide) / 2


@pytest.mark.parametrize("sleeve_in", [None, 1.5])
def test_the_web_of_one_finger_and_a_thumb_is_the_distance_of_two_lines(
    client: Client, sleeve_in: float | None
) -> None:
    thumb, middle = EXAMPLE["thumb"] | {"depth_in": 4.5}, EXAMPLE["middle"] | {"depth_in": 3.0}
    one = {"thumb": thumb, "middle": middle, "ring": None, "bridge_in": None, "sleeve_od_in": sleeve_in}
    body = EXAMPLE | one
    got = client.post("/api/v1/calc/grip", json=body).json()
    wide = (sleeve_in or thumb["hole_in"] + thumb["oval_in"], middle["cut_in"])
    least = least_web(body, got, ("thumb", "middle"), wide)
    assert got["webs"]["thumb_middle_in"] == pytest.approx(least, abs=0.0005)
    assert (got["webs"]["thumb_ring_in"], got["webs"]["middle_ring_in"]) == (None, None)


def test_the_web_of_two_fingers_without_a_thumb_is_the_distance_of_two_lines(client: Client) -> None:
    made = fingers(reach_in=2.0, depth_in=0.5)
    made["ring"]["cut_in"] = 0.9375
    body = EXAMPLE | made | {"thumb": None, "sleeve_od_in": None}
    got = client.post("/api/v1/calc/grip", json=body).json()
    least = least_web(body, got, ("middle", "ring"), (made["middle"]["cut_in"], 0.9375))
    assert least > 0
    assert got["webs"]["middle_ring_in"] == pytest.approx(least, abs=0.0005)
    assert solve_grip(GripIn.model_validate(body).to_grip()).fingers_meet_at_in is None


def test_two_fingers_without_a_thumb_that_break_into_each_other_meet_at_a_depth() -> None:
    # by hand: of two like fingers that lean straight at each other the axes come as near as two radii at that depth
    made = fingers(reach_in=2.0, depth_in=2.5, forward_in=0.0)
    made["middle"]["right_in"], made["ring"]["right_in"] = 0.25, -0.25
    solved = solve_grip(GripIn.model_validate(EXAMPLE | made | {"thumb": None, "sleeve_od_in": None}).to_grip())
    middle, ring = solved.middle, solved.ring
    assert middle is not None and ring is not None and solved.fingers_meet_at_in is not None
    assert middle.centre == pytest.approx((-ring.centre[0], *ring.centre[1:]), abs=1e-12)
    ends = [np.array(axis.point(solved.fingers_meet_at_in)) for axis in (middle, ring)]
    assert np.linalg.norm(ends[0] - ends[1]) == pytest.approx(made["ring"]["cut_in"], abs=1e-9)
    assert 0 < solved.fingers_meet_at_in < 2.5


def test_reaches_that_do_not_close_are_told_as_reaches() -> None:
    made = fingers(reach_in=2.0)
    made["ring"]["reach_in"] = 4.0
    body = EXAMPLE | made | {"thumb": None, "sleeve_od_in": None}
    with pytest.raises(CannotBuildError, match="the two reaches differ") as refused:
        solve_grip(GripIn.model_validate(body).to_grip())
    assert refused.value.field == "ring.reach_in"


@pytest.mark.parametrize(("thumb_in", "cut_in"), [(1.25, 0.5), (0.5, 1.25)])
def test_a_hole_a_quarter_of_the_ball_from_the_grip_centre_is_refused(thumb_in: float, cut_in: float) -> None:
    # by hand: half of the span and R·asin(0.625/R) = 0.6272 in to the centre of the wide hole, against 6.75 in
    def of_span(span_in: float) -> Grip:
        finger = Finger(span_in, cut_in, cut_in, 0.0, 0.0, 1.0)
        return Grip(27.0, "right", Thumb(thumb_in, 0.0, 0.0, 0.0, 0.0, 1.0), finger, None, None)

    near = solve_grip(of_span(12.2))
    wide = near.middle if cut_in > thumb_in else near.thumb
    assert wide is not None
    assert abs(R * np.arctan2(wide.centre[1], wide.centre[2])) == pytest.approx(6.1 + 0.6272, abs=1e-4)
    with pytest.raises(CannotBuildError) as refused:
        solve_grip(of_span(12.3))
    assert refused.value.field == "middle.span_in"


def test_an_offset_thumb_stands_where_the_contract_says(client: Client) -> None:
    got = client.post("/api/v1/calc/grip", json=EXAMPLE | {"thumb": EXAMPLE["thumb"] | {"offset_in": 0.125}}).json()
    wanted = [-2.521969, 0.125, 2.409478, -0.604743, 2.581909, 0.605228]
    assert along_across(got, "thumb", "middle", "ring") == pytest.approx(wanted, abs=5e-7)
    sleeve = [got["spans"][name]["sleeve_to_cut_in"] for name in ("middle", "ring")]
    assert sleeve == pytest.approx([3.734609, 3.866916], abs=5e-7)


def test_cuts_of_fewer_holes_are_in_order_with_their_edges_where_they_are_set(client: Client) -> None:
    made = fingers()
    made["middle"]["reach_in"], made["ring"]["reach_in"] = 2.0, 2.125
    grip = EXAMPLE | made | {"thumb": None, "sleeve_od_in": None}
    cuts = client.post("/api/v1/calc/cuts", json={"grip": grip, "bore": None, "cusp_limit_in": 0.005}).json()["cuts"]
    assert [cut["hole"] for cut in cuts] == ["middle", "ring"]
    for cut, reach in zip(cuts, (2.0, 2.125), strict=True):  # the edge towards the palm's plus is the reach away
        edge = at(cut["near_edge"]["along_in"], cut["near_edge"]["across_in"])
        assert R * arc(at(0, 0), edge) == pytest.approx(reach, abs=1e-9)
    one = EXAMPLE | {"middle": None, "bridge_in": None}
    bore = {"bore_in": 1.5, "forward_in": -0.25, "right_in": 0.0, "depth_in": 2.75}
    cuts = client.post("/api/v1/calc/cuts", json={"grip": one, "bore": bore, "cusp_limit_in": 0.005}).json()["cuts"]
    assert [cut["hole"] for cut in cuts] == ["bore", "thumb", "thumb", "ring"]


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"thumb": None}, "middle.span_in"),
        ({"thumb": None, "middle": None, "ring": fingers(reach_in=2.0)["ring"]}, "thumb"),
        ({"thumb": None, "middle": None, "ring": None}, "thumb"),
        ({"middle": None, "ring": None, "bridge_in": None}, "middle"),
        ({"ring": None}, "bridge_in"),
        ({"bridge_in": None}, "bridge_in"),
        ({"bridge_edges": None}, "bridge_edges"),
        ({"middle": EXAMPLE["middle"] | {"reach_in": 2.0}}, "middle.reach_in"),
        ({"middle": EXAMPLE["middle"] | {"lift_in": 0.2}}, "middle.hole_in"),
        ({"middle": EXAMPLE["middle"] | {"oval_in": 0.4}}, "middle.hole_in"),
        ({"ring": None, "bridge_in": None, "thumb": EXAMPLE["thumb"] | {"offset_in": 0.125}}, "thumb.offset_in"),
        ({"thumb": None} | fingers(reach_in=2.0) | {"bridge_in": 5.0}, "bridge_in"),
        ({"thumb": None} | fingers(reach_in=2.0) | {"span_edges": "sleeve"}, "span_edges"),
        ({"old_holes": [dict(along_in=14, across_in=0, cut_in=1, forward_in=0, right_in=0, depth_in=2, digit="thumb")]},
         "old_holes.0.along_in"),
        ({"old_holes": [dict(along_in=0, across_in=7, cut_in=1, forward_in=0, right_in=0, depth_in=2, digit="finger")]},
         "old_holes.0.across_in"),
    ],
)  # fmt: skip
def test_what_does_not_go_together_is_refused_naming_the_field(client: Client, change: Json, field: str) -> None:
    refused = client.post("/api/v1/calc/grip", json=EXAMPLE | change)
    assert refused.status_code == 422, refused.text
    assert field in [".".join(map(str, problem["loc"][1:])) for problem in refused.json()["detail"]]


def test_the_web_to_an_old_hole_is_the_distance_of_two_lines(client: Client) -> None:
    """Held against scipy: the least distance between points of the two axes, each down to its depth."""
    chance = np.random.default_rng(4)
    for digit, kind in (("thumb", 1), ("finger", -1)) * 10:
        old: Json = {
            "along_in": float(chance.uniform(-3, 3)), "across_in": float(chance.uniform(-2, 2)), "cut_in": 1.0,
            "forward_in": float(chance.uniform(-0.5, 0.5)), "right_in": float(chance.uniform(-0.5, 0.5)),
            "depth_in": float(chance.uniform(0.5, 3)), "digit": digit,
        }  # fmt: skip
        got = client.post("/api/v1/calc/grip", json=EXAMPLE | {"old_holes": [old]}).json()
        c = at(old["along_in"], old["across_in"])
        d = line(c, old["forward_in"], old["right_in"], kind)[0]
        for name in ("middle", "ring"):
            hole: Json = EXAMPLE[name]
            f = at(got["holes"][name]["along_in"], got["holes"][name]["across_in"])
            e = line(f, hole["forward_in"], hole["right_in"], -1)[0]
            s, t = np.meshgrid(np.linspace(0, hole["depth_in"], 801), np.linspace(0, old["depth_in"], 801))
            apart = R * f + s[..., None] * e - R * c - t[..., None] * d
            least = float(np.min(np.linalg.norm(apart, axis=-1))) - hole["cut_in"] / 2 - 0.5
            assert got["webs"]["old"][0][f"{name}_in"] == pytest.approx(least, abs=0.0005)


@pytest.mark.parametrize("digit", ["middle", "ring"])
def test_a_sleeve_that_runs_otherwise_than_its_hole_has_its_own_edge_and_wall(digit: str) -> None:
    # closed form of the geometry paper, section 2: an edge in the plane of the pitch is asin((p + r)/R) − asin(p/R)
    finger, webs = Finger(4.0, 31 / 32, 11 / 16, forward_in=-0.25), []
    for pitch in (-0.25, 0.375):
        asked = Grip(
            27.0, "right", Thumb(15 / 16, pitch), finger if digit == "middle" else None, finger if digit == "ring" else None, None,
            span_edges="sleeve", sleeve_od_in=1.5, sleeve_pitch_in=(0.0, 0.0),
        )  # fmt: skip
        solved = solve_grip(asked)
        spans = solved.spans[digit]  # type: ignore[index]
        hole = np.arcsin((pitch + 15 / 32) / R) - np.arcsin(pitch / R)
        assert spans.sleeve_to_cut_in == pytest.approx(4.0, abs=1e-9)
        assert spans.cut_in - 4.0 == pytest.approx(R * (np.arcsin(0.75 / R) - hole), abs=1e-9)
        webs.append(getattr(solved, f"web_thumb_{digit}_in"))
    assert webs[0] == pytest.approx(webs[1], abs=1e-9)  # the wall is left beside the sleeve, however the hole runs
