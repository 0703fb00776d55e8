"""Pages of axis points, marks, scales and regulations: what was typed is shown, and a refused form is kept."""

import re

import pytest

from tests.conftest import Client
from tests.pages.test_history import AXIS_POINT, REGULATION, SCALE
from tests.pages.test_pages import text_of


def test_axis_points_are_shown_with_what_counts_and_what_was_taken_back(client: Client, who: str) -> None:
    for point in ("4 3/4 over 1/4 down", "4 1/2 over 1/2 up"):
        client.post("/bowlers/1/axis-points", AXIS_POINT | {"who": who, "point": point, "track": "unknown"})
    page = text_of(client.get("/bowlers/1/axis-points").text)
    assert re.search(r"4 1/2 over, 1/2 up right hand, counts .* 4 3/4 over, 1/4 down right hand ", page)
    client.post("/axis-points/2/taking-back", {"who": who, "why": "of a borrowed ball"})
    page = text_of(client.get("/bowlers/1/axis-points").text)
    assert "of a borrowed ball" in page
    assert re.search(r"4 3/4 over, 1/4 down right hand, counts", page)


def test_a_point_on_the_wrong_side_is_asked_at_its_field_and_the_rest_is_kept(client: Client, who: str) -> None:
    typed = AXIS_POINT | {"who": who, "point": "4 1/2 left over 1/2 up", "note": "seen twice"}
    answer = client.post("/bowlers/1/axis-points", typed)
    assert answer.status_code == 422
    assert 'id="point-error"' in answer.text
    assert 'data-fill="point">4 1/2 right over 1/2 up<' in answer.text
    assert "seen twice" in answer.text
    assert 'value="4 1/2 left over 1/2 up"' in answer.text


def test_a_top_weight_without_a_mark_is_asked_at_its_field(client: Client, who: str) -> None:
    typed = {"who": who, "version": "0", "has_mass_mark": "unknown", "top_weight": "3", "label_weight": "15 lb"}
    answer = client.post("/balls/1/marks", typed)
    assert answer.status_code == 422
    assert 'id="pin_centre-error"' in answer.text
    assert 'value="15 lb"' in answer.text
    assert client.post("/balls/1/marks", typed | {"pin_centre": "unknown"}).status_code == 303
    page = text_of(client.get("/balls/1/marks").text)
    assert "240 oz" in page
    assert "3 oz" in page


def test_a_scale_shows_its_arm_and_calibration(client: Client, who: str) -> None:
    made = client.post("/scales", SCALE | {"who": who}).headers["location"]
    page = text_of(client.get(made).text)
    assert "2 oz taped on 6 3/4 from the top; read 2.1 oz" in page
    assert "unknown, the ball's radius" not in page


def test_the_example_is_marked_and_owners_alone_may_add(client: Client, who: str) -> None:
    assert "Add the example" in client.get("/regulations").text
    made = client.post("/regulations/example", {"who": who}).headers["location"]
    page = text_of(client.get(made).text)
    assert "Example, check against the rules in force." in page
    assert "3/4 oz" in page
    assert "Add the example" not in client.get("/regulations").text


@pytest.mark.parametrize("field", ["c1_over", "c1_side", "source"])
def test_a_refused_regulation_keeps_what_was_typed(client: Client, who: str, field: str) -> None:
    wrong = {"source": ""}.get(field, "much")
    answer = client.post("/regulations", REGULATION | {"who": who, field: wrong})
    assert answer.status_code == 422
    assert f'id="new-{field}-error"' in answer.text
    assert 'value="Our copy"' in answer.text
