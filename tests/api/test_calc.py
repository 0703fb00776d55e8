import copy
import json

import pytest

from tests.calculation.grips import EXAMPLE

BORE = {"circumference_in": 27.0, "bore_in": 1.5, "depth_in": 2.75, "forward_in": -0.25, "right_in": 0.0}
BODIES = {
    "grip": EXAMPLE,
    "flushness": {"inner_od_in": 1.25, "made_in": BORE, "fitted_in": {**BORE, "forward_in": 0.0}, "turn_deg": 0},
    "felt-pitch": {
        "circumference_in": 27.0, "bore_forward_in": -0.25, "bore_right_in": 0.0,
        "inner_forward_in": -0.25, "inner_right_in": 0.125, "turn_deg": 90,
    },
    "bore-depth": {"readings": [{"trial_depth_in": 2.75, "proud_in": -0.03125}], "resolution_in": 0.015625, "repeatability_in": 0.0078125},
    "oval": {"bit_in": 0.9375, "oval_in": 0.0625, "oval_deg": 45, "cusp_limit_in": 0.002},
    "inner-wall": {
        "circumference_in": 27.0, "inner_od_in": 1.25, "hole_in": 0.9375, "oval_in": 0.0625, "oval_deg": 45, "length_in": 2.0,
        "forward_difference_in": 0.0, "right_difference_in": 0.0, "offset_along_in": 0.0, "offset_across_in": 0.0,
    },
}  # fmt: skip
SHAPES = {
    "grip": {"holes", "spans", "bridge", "webs", "fingers_meet_at_in"},
    "flushness": {"centre_in", "front_in", "right_in", "back_in", "left_in", "highest_in", "lowest_in"},
    "felt-pitch": {"forward_in", "right_in"},
    "bore-depth": {"depth_in", "standard_uncertainty_in", "interval_in", "coverage", "readings"},
    "oval": {"plunges", "cusp_in", "width_in"},
    "inner-wall": {"least_wall_in", "at_depth_in"},
}


@pytest.mark.parametrize("name", BODIES)
def test_each_calculation_answers_its_contract(client, name):
    answer = client.post(f"/api/v1/calc/{name}", json=BODIES[name], headers={"origin": "http://elsewhere.test"})
    assert answer.status_code == 200, answer.text
    assert set(answer.json()) == SHAPES[name]


def test_the_grip_answer_has_the_contract_numbers(client):
    got = client.post("/api/v1/calc/grip", json=EXAMPLE).json()
    assert got["spans"]["middle"]["sleeve_to_cut_in"] == pytest.approx(3.735459, abs=5e-7)
    assert got["holes"]["ring"]["across_in"] == pytest.approx(0.607738, abs=5e-7)
    assert set(got["webs"]) == {"thumb_middle_in", "thumb_ring_in", "middle_ring_in"}


def test_without_a_sleeve_there_is_no_sleeve_to_cut(client):
    got = client.post("/api/v1/calc/grip", json=EXAMPLE | {"sleeve_od_in": None}).json()
    assert got["spans"]["middle"]["sleeve_to_cut_in"] is None


def changed(path: str, value) -> dict:
    body = copy.deepcopy(EXAMPLE)
    *parents, last = path.split(".")
    place = body
    for parent in parents:
        place = place[parent]
    place[last] = value
    return body


@pytest.mark.parametrize(
    ("path", "value"),
    [
        ("circumference_in", 28.0), ("circumference_in", "27"), ("circumference_in", True), ("hand", "both"), ("thumb.hole_in", 0.0),
        ("thumb.oval_in", -0.01), ("thumb.forward_in", 3.0), ("thumb.forward_in", None), ("middle.span_in", 40.0), ("middle.span_in", -4.0),
        ("ring.depth_in", -1.0), ("bridge_in", -0.25), ("span_edges", "sleeves"), ("bridge_edges", "sleeve"), ("surprise", 1), ("thumb.surprise", 1),
        ("middle.hole_in", 1.2), ("ring.span_in", 7.0), ("bridge_in", 2.0), ("middle", None),
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused_naming_the_field(client, path, value):
    answer = client.post("/api/v1/calc/grip", json=changed(path, value))
    if (path, value) == ("bridge_in", 2.0):  # wide, but it closes
        assert answer.status_code == 200
        return
    assert answer.status_code == 422, answer.text
    named = [".".join(map(str, problem["loc"][1:])) for problem in answer.json()["detail"]]
    assert path in named, named


@pytest.mark.parametrize("text", ["NaN", "Infinity", "-Infinity", "1e999"])
def test_non_finite_numbers_are_refused(client, text):
    raw = json.dumps(EXAMPLE).replace('"bridge_in": 0.25', f'"bridge_in": {text}')
    answer = client.post("/api/v1/calc/grip", content=raw, headers={"content-type": "application/json"})
    assert answer.status_code == 422
    assert answer.json()["detail"][0]["loc"][-1] == "bridge_in"


@pytest.mark.parametrize("raw", ["", "{", "[]", "null", '"x"'])
def test_what_is_no_object_is_refused(client, raw):
    assert (
        client.post("/api/v1/calc/grip", content=raw, headers={"content-type": "application/json"}).status_code == 422
    )


def test_missing_fields_are_named(client):
    answer = client.post("/api/v1/calc/flushness", json={})
    assert {p["loc"][1] for p in answer.json()["detail"]} == {"inner_od_in", "made_in", "fitted_in"}


@pytest.mark.parametrize(
    ("name", "change", "field"),
    [
        ("flushness", {"inner_od_in": 1.6}, "inner_od_in"),
        ("bore-depth", {"readings": []}, "readings"),
        ("oval", {"cusp_limit_in": 0.0}, "cusp_limit_in"),
        ("oval", {"cusp_limit_in": 0.9}, "cusp_limit_in"),
        ("oval", {"oval_in": -0.1}, "oval_in"),
        ("inner-wall", {"length_in": -2.0}, "length_in"),
        ("felt-pitch", {"inner_forward_in": 9.0}, "inner_forward_in"),
    ],
)
def test_other_calculations_refuse_too(client, name, change, field):
    answer = client.post(f"/api/v1/calc/{name}", json=BODIES[name] | change)
    assert answer.status_code == 422
    assert field in [p["loc"][1] for p in answer.json()["detail"]]


def test_calculations_store_nothing(client, count_queries):
    assert count_queries(lambda: client.post("/api/v1/calc/grip", json=EXAMPLE)) == 0


def test_the_contract_is_served(client):
    paths = client.get("/openapi.json").json()["paths"]
    assert {f"/api/v1/calc/{name}" for name in BODIES} <= set(paths)


def test_text_is_read_as_the_forms_read_it(client):
    got = client.get("/api/v1/measures/span", params={"text": "3 47/64"}).json()
    assert (got["state"], got["values"]["length_in"], got["words"]) == (
        "value",
        "239/64",
        "three and forty-seven sixty-fourths",
    )
    got = client.get("/api/v1/measures/pitch", params={"text": "1/4R", "hand": "right", "hole": "thumb"}).json()
    assert got["state"] == "ask"
    assert got["choices"]
    assert client.get("/api/v1/measures/nonsense", params={"text": "1"}).status_code == 422
