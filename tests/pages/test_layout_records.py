"""Pages of axis points, marks, scales and regulations: what was typed is shown, and a refused form is kept."""

import re
from datetime import date

import pytest
from sqlalchemy.orm import Session

from app.models import Scale
from tests.conftest import Client
from tests.pages.test_history import AXIS_POINT, REGULATION, SCALE
from tests.pages.test_pages import text_of

CALIBRATION = {
    "circumference": "27", "without_first": "1/4", "without_turned": "-1/4",
    "taped_first": "2 1/4", "taped_turned": "-2 1/4",
}  # fmt: skip


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
    made = client.post("/scales", SCALE | {"who": who, "arm": ""} | CALIBRATION).headers["location"]
    page = text_of(client.get(made).text)
    assert "2 oz taped on 6 3/4 from the top, ball 27 around" in page
    assert "the mass moved it by 2.000 oz: arm 4.297 in, 95 % " in page  # the ball's radius: 2 oz there moves it by 2
    assert "unknown, the ball's radius" not in page
    assert date.today().isoformat() in page
    assert "day unknown" not in page


def test_a_calibration_that_tells_nothing_is_asked_at_its_field_and_all_is_kept(client: Client, who: str) -> None:
    """The mass moved the scale too little, the other way, was taped elsewhere, or told another arm than the one typed."""
    small = {"taped_first": "0.3", "taped_turned": "-0.3"}
    cases = [("taped_first", small), ("taped_first", {"taped_turned": "2 1/4"}), ("place", {"place": "5"})]
    cases += [
        ("taped_first", {"taped_first": "-2 1/4", "taped_turned": "2 1/4"}),
        ("arm", {"arm": "3"}),
        ("taped_turned", {"taped_turned": ""}),
    ]
    for field, typed in cases:
        posted = SCALE | {"who": who, "arm": "", "note": "by the window"} | CALIBRATION | typed
        answer = client.post("/scales", posted)
        assert answer.status_code == 422
        assert re.findall(r'id="(\w+)-error"', answer.text) == [field], typed
        for name, text in posted.items():
            assert name in {"who", "note"} or re.search(
                rf'name="{name}"[^>]* value="{text}"|name="{name}" value="{text}"', answer.text
            )
        assert "by the window" in answer.text


def test_readings_of_an_older_record_stay_readable(client: Client, session: Session, who: str) -> None:
    made = client.post("/scales", SCALE | {"who": who}).headers["location"]
    of = session.get_one(Scale, int(made.rsplit("/", 1)[1]))
    of.readings_oz, of.typed = ["21/10"], of.typed | {"reading_1": "2.1"}
    session.commit()
    assert client.post(made, SCALE | {"who": who, "version": str(of.version), "note": "oiled"}).status_code == 303
    session.expire_all()
    assert (of.readings_oz, of.typed["reading_1"], of.note) == (["21/10"], "2.1", "oiled")
    page = text_of(client.get(made).text)
    assert "day not written, 2 oz taped on 6 3/4 from the top; older readings, which tell no arm: 2.1 oz" in page


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
