"""Layouts over the API: the contract's numbers, and what is refused at which field."""

import json
import math

import pytest

from tests.calculation.grips import Json
from tests.conftest import Client

LAYOUT: Json = {
    "circumference_in": 27.0, "hand": "right", "axis_over_in": 4.5, "axis_up_in": 0.5,
    "pin_axis_in": 4.0, "axis_line_deg": 35.0, "drilling_deg": 40.0, "pin_mark_in": None,
}  # fmt: skip
READ: Json = {
    "circumference_in": 27.0, "hand": "right", "axis_over_in": 4.5, "axis_up_in": 0.5,
    "pin": {"along_in": 3.577689, "across_in": 0.942422}, "mark": {"along_in": -3.685229, "across_in": 2.108438},
}  # fmt: skip
BODIES = {"layout": LAYOUT, "layout-read": READ}
NUMBERS = ("pin_axis_in", "axis_line_deg", "drilling_deg", "pin_mark_in")


def mirrored(body: Json) -> Json:
    places = {name: {**body[name], "across_in": -body[name]["across_in"]} for name in ("pin", "mark")}
    return {**body, "hand": "left", **places}


@pytest.mark.parametrize(("hand", "side"), [("right", 1), ("left", -1)])
def test_a_layout_has_the_contract_numbers(client: Client, hand: str, side: int) -> None:
    got = client.post("/api/v1/calc/layout", json=LAYOUT | {"hand": hand}).json()
    assert set(got) == {"places", "arcs"}
    # worked with rotations of vectors when the contract of the calculation was written
    for name, along_in, across_in in (
        ("axis", 0.986817, 4.450173),
        ("pin", 3.577689, 0.942422),
        ("mark", -3.685229, 2.108438),
    ):
        expected = {"along_in": along_in, "across_in": side * across_in}
        assert got["places"][name] == pytest.approx(expected, abs=6e-7)
    assert got["arcs"] == pytest.approx(
        {
            "pin_axis_line_in": 2.054415,
            "mark_axis_in": 3.906537,
            "grip_axis_in": 4.516757,
            "grip_pin_in": 3.670435,
            "grip_mark_in": 4.106627,
        },
        abs=6e-7,
    )


@pytest.mark.parametrize("body", [READ, mirrored(READ)], ids=["right", "left"])
def test_a_layout_is_read_back_from_the_contract_places(client: Client, body: Json) -> None:
    got = client.post("/api/v1/calc/layout-read", json=body).json()
    assert tuple(got) == NUMBERS
    assert got == pytest.approx(dict(zip(NUMBERS, (4.0, 35.0, 40.0, 6.75), strict=True)), abs=5e-5)  # six places typed


def test_what_a_layout_answers_is_read_back_to_the_last_places(client: Client) -> None:
    asked = LAYOUT | {"hand": "left", "axis_up_in": -0.75, "drilling_deg": -62.5, "pin_mark_in": 6.5}
    places = client.post("/api/v1/calc/layout", json=asked).json()["places"]
    body = {name: asked[name] for name in ("circumference_in", "hand", "axis_over_in", "axis_up_in")}
    got = client.post("/api/v1/calc/layout-read", json=body | {"pin": places["pin"], "mark": places["mark"]}).json()
    assert got == pytest.approx({name: asked[name] for name in NUMBERS}, abs=1e-9)


@pytest.mark.parametrize(
    ("name", "change", "field"),
    [
        ("layout", {"axis_over_in": -4.5}, "axis_over_in"),
        ("layout", {"axis_over_in": 0.0}, "axis_over_in"),
        ("layout", {"axis_over_in": 13.5}, "axis_over_in"),
        ("layout", {"axis_over_in": 16.0}, "axis_over_in"),
        ("layout", {"axis_up_in": 6.75}, "axis_up_in"),
        ("layout", {"pin_axis_in": 0.0}, "pin_axis_in"),
        ("layout", {"pin_axis_in": -1.0}, "pin_axis_in"),
        ("layout", {"pin_axis_in": 13.5}, "pin_axis_in"),
        ("layout", {"pin_mark_in": 0.0}, "pin_mark_in"),
        ("layout", {"pin_mark_in": 13.6}, "pin_mark_in"),
        ("layout", {"axis_line_deg": 181}, "axis_line_deg"),
        ("layout", {"drilling_deg": "40"}, "drilling_deg"),
        ("layout", {"hand": "both"}, "hand"),
        ("layout", {"circumference_in": 30}, "circumference_in"),
        ("layout", {"surprise": 1}, "surprise"),
        ("layout-read", {"axis_over_in": -4.5}, "axis_over_in"),
        ("layout-read", {"axis_up_in": -6.75}, "axis_up_in"),
        ("layout-read", {"pin": {"along_in": 13.6, "across_in": 0.0}}, "pin.along_in"),
        ("layout-read", {"pin": {"along_in": 0.0, "across_in": -6.8}}, "pin.across_in"),
        ("layout-read", {"mark": {"along_in": 0.0, "across_in": 6.8}}, "mark.across_in"),
        ("layout-read", {"mark": READ["pin"]}, "mark"),
        ("layout-read", {"axis_up_in": 0.0, "pin": {"along_in": 0.0, "across_in": 4.5}}, "pin"),
        ("layout-read", {"pin": None}, "pin"),
    ],
)
def test_what_cannot_be_is_refused_naming_the_field(client: Client, name: str, change: Json, field: str) -> None:
    answer = client.post(f"/api/v1/calc/{name}", json=BODIES[name] | change)
    assert answer.status_code == 422, answer.text
    assert [".".join(map(str, p["loc"])) for p in answer.json()["detail"]] == [f"body.{field}"]


@pytest.mark.parametrize("text", ["NaN", "Infinity", "1e999"])
@pytest.mark.parametrize("field", ["axis_over_in", "pin_axis_in", "axis_line_deg", "drilling_deg"])
def test_numbers_that_are_not_finite_are_refused(client: Client, field: str, text: str) -> None:
    raw = json.dumps(LAYOUT | {field: math.pi}).replace(str(math.pi), text)
    answer = client.post("/api/v1/calc/layout", content=raw, headers={"content-type": "application/json"})
    assert (answer.status_code, answer.json()["detail"][0]["loc"][-1]) == (422, field)
