import copy

import pytest

from tests.calculation.grips import Json
from tests.conftest import Client, CountQueries

URL = "/api/v1/calc/balance"
FINGER = {"digit": "finger", "bore_in": 0.96875, "depth_in": 1.0, "density_oz_in3": 0.70, "forward_in": -0.25}
BODY: Json = {
    "circumference_in": 27.0, "arm_in": None, "weight_oz": 240, "top_weight_oz": 3, "heavy_spot": {"along_in": 0, "across_in": 0},
    "holes": [
        {
            "along_in": -2.521823, "across_in": 0.0, "forward_in": -0.25, "right_in": 0.0, "digit": "thumb", "bore_in": 1.5, "depth_in": 2.75,
            "density_oz_in3": 0.70,
            "fills": [{"od_in": 1.5, "id_in": 1.25, "density_oz_in3": 0.68}, {"od_in": 1.25, "id_in": 0.9375, "length_in": None, "density_oz_in3": 0.68}],
        },
        {**FINGER, "along_in": 2.430544, "across_in": -0.607117, "right_in": 0.0, "fills": [{"od_in": 0.96875, "id_in": 0.6875, "density_oz_in3": 0.60}]},
        {**FINGER, "along_in": 2.564163, "across_in": 0.607738, "right_in": -0.125, "fills": [{"od_in": 0.96875, "id_in": 0.65625, "density_oz_in3": 0.60}]},
    ],
    "uncertainty": {"density_fraction": 0.15, "top_weight_oz": 0.125, "heavy_spot_in": 0.125},
}  # fmt: skip
WORKED_OZ = 1e-6
PRINTED_OZ = 5e-5


def changed(path: str, value: object) -> Json:
    body = copy.deepcopy(BODY)
    *parents, last = (int(part) if part.isdigit() else part for part in path.split("."))
    place = body
    for parent in parents:
        place = place[parent]  # type: ignore[index]
    place[last] = value  # type: ignore[index]
    return body


def test_the_balance_has_the_contract_numbers(client: Client) -> None:
    # source: the project's own calculation contract
    got = client.post(URL, json=BODY).json()
    assert set(got) == {"weight_oz", "right_oz", "finger_oz", "top_oz", "removed_oz", "added_oz", "interval"}
    numbers = [got[name] for name in ("weight_oz", "right_oz", "finger_oz", "top_oz")]
    assert numbers == pytest.approx([238.041275, 0.003336, 0.267991, 1.817821], abs=WORKED_OZ)
    assert got["weight_oz"] == pytest.approx(240 - got["removed_oz"] + got["added_oz"], abs=1e-12)
    assert set(got["interval"]) == {"right_oz", "finger_oz", "top_oz"}
    assert got["interval"]["right_oz"] == pytest.approx([-0.1677, 0.1744], abs=PRINTED_OZ)
    assert got["interval"]["finger_oz"] == pytest.approx([-0.0708, 0.6068], abs=PRINTED_OZ)
    assert got["interval"]["top_oz"] == pytest.approx([0.9111, 2.7246], abs=PRINTED_OZ)


def test_without_uncertainty_there_is_no_interval(client: Client) -> None:
    got = client.post(URL, json=BODY | {"uncertainty": None}).json()
    assert got["interval"] is None
    assert got["top_oz"] == pytest.approx(1.817821, abs=WORKED_OZ)
    left_out = {key: value for key, value in BODY.items() if key not in {"arm_in", "uncertainty"}}
    assert client.post(URL, json=left_out).json() == got


def test_a_given_arm_counts(client: Client) -> None:
    # statics: an arm of half the radius shows twice the moment of what is drilled
    half = client.post(URL, json=BODY | {"arm_in": 13.5 / 3.141592653589793 / 2}).json()
    assert half["top_oz"] - 3 == pytest.approx(2 * (1.817821 - 3), abs=4 * WORKED_OZ)


def test_a_ball_without_holes_is_as_it_was_weighed(client: Client) -> None:
    got = client.post(URL, json=BODY | {"holes": []}).json()
    assert (got["top_oz"], got["weight_oz"], got["removed_oz"], got["added_oz"]) == (3, 240, 0, 0)


@pytest.mark.parametrize(
    ("path", "value"),
    [
        ("circumference_in", 28.0), ("arm_in", 0.0), ("weight_oz", 10), ("weight_oz", "240"), ("top_weight_oz", -1), ("heavy_spot.along_in", 13.6),
        ("heavy_spot.across_in", 7.0), ("heavy_spot", None), ("holes.0.bore_in", 4.0), ("holes.1.depth_in", 7.0), ("holes.0.density_oz_in3", 3.0),
        ("holes.0.digit", "ring"), ("holes.2.along_in", 14.0), ("holes.1.across_in", 7.0), ("holes.0.fills.0.od_in", 1.6), ("holes.0.fills.1.id_in", 1.25),
        ("holes.0.fills.1.od_in", 1.3), ("holes.0.fills.1.length_in", 2.74), ("uncertainty.density_fraction", -0.1), ("uncertainty.arm_in", 0.1),
        ("holes.0.surprise", 1), ("surprise", 1), ("holes", [BODY["holes"][1]] * 13),
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused_naming_the_field(client: Client, path: str, value: object) -> None:
    answer = client.post(URL, json=changed(path, value))
    assert answer.status_code == 422, answer.text
    named = [".".join(map(str, problem["loc"][1:])) for problem in answer.json()["detail"]]
    assert path in named, named


def test_a_grazing_cut_is_refused_at_its_depth(client: Client) -> None:
    body = changed("holes.0.fills", [])
    body["holes"][0] |= {"forward_in": -0.75, "depth_in": 0.1}
    answer = client.post(URL, json=body)
    assert (answer.status_code, answer.json()["detail"][0]["loc"]) == (422, ["body", "holes", "0", "depth_in"])


def test_nothing_is_stored(client: Client, count_queries: CountQueries) -> None:
    assert count_queries(lambda: client.post(URL, json=BODY)) == 0
