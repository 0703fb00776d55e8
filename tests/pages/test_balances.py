"""The page of a balance: predicted, judged under a regulation, weighed, and brought inside."""

import json
import re

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.models import Drilling, Regulation, Weighing
from tests.conftest import Client, not_none
from tests.services.test_balances import leave_thumb_out

START = {"start_top": "3", "along": "0", "across": "0"}
SCALE = {"label": "Bench scale", "resolution": "1/16"}


def told(html: str) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", html))


def verdict_of(html: str) -> str:
    return not_none(re.search(r'<section class="strip (\w*)"', html))[1]


def verdict_strip(html: str) -> str:
    return told(not_none(re.search(r'<section class="strip .*?</section>', html, re.S))[0])


@pytest.fixture
def judged(client: Client, who: str) -> Client:
    """A shop with a scale, and the example of a regulation."""
    assert client.post("/regulations/example", {"who": who}).status_code == 303
    assert client.post("/scales", SCALE | {"who": who}).status_code == 303
    return client


def look(client: Client, drilling: int = 3, **asked: str) -> str:
    answer = client.get(f"/drillings/{drilling}/balance", params=START | asked)
    assert answer.status_code == 200, told(answer.text)
    return str(answer.text)


def test_what_is_missing_is_asked_for_and_nothing_is_told(judged: Client) -> None:
    page = judged.get("/drillings/3/balance").text
    assert verdict_of(page) == "doubt"
    assert "Not known yet" in page
    assert "weighed-ways" not in page
    assert '<svg viewBox="-146' not in page


def test_a_prediction_is_judged_under_the_regulation_in_force(judged: Client) -> None:
    page = look(judged)
    assert verdict_of(page) == "good"
    assert "Example, check against the rules in force" in told(page)
    assert page.count("to spare") == 3
    assert "official’s scale and the rules in force decide" in page


def test_without_a_regulation_there_is_no_verdict(client: Client) -> None:
    page = look(client)
    assert verdict_of(page) == ""
    assert "No verdict" in page
    assert "to spare" not in page


def type_rules(client: Client, who: str, **typed: str) -> None:
    form = {"who": who, "edition": "One limit", "in_force_from": "2026-01-01", "source": "this test", "c1_side": "3"}
    assert client.post("/regulations", form | typed).status_code == 303


def test_a_rule_set_with_one_limit_of_three_is_no_full_green(judged: Client, session: Session, who: str) -> None:
    type_rules(judged, who)
    page = look(judged)
    assert verdict_of(page) == ""
    assert "No limit in this rule set: finger or thumb; top or bottom" in verdict_strip(page)
    assert judged.post(WEIGHED, START | READ | {"who": who, "version": "0"}).status_code == 303
    found = json.loads(json.dumps(kept(session).verdict))
    assert (found["state"], found["unlimited"]) == ("inside", ["finger_thumb", "top_bottom"])
    assert verdict_of(judged.get("/drillings/1/balance").text) == ""


def test_a_chosen_rule_set_without_limits_for_the_ball_names_one_that_has(
    judged: Client, session: Session, who: str
) -> None:
    type_rules(judged, who, edition="Light balls", c1_up_to="8 lb")
    light = not_none(session.scalar(select(Regulation.id).where(Regulation.edition == "Light balls")))
    example = not_none(session.scalar(select(Regulation.edition).where(Regulation.is_example)))
    strip = verdict_strip(look(judged, regulation_id=str(light)))
    assert "the chosen one has no limits" in strip
    assert f"{example}, in force, has" in strip
    assert verdict_of(look(judged)) != ""


def test_a_rule_set_that_ended_is_shown_and_gives_no_verdict_and_no_weighing(
    judged: Client, session: Session, who: str
) -> None:
    type_rules(judged, who)
    ending = {"who": who, "ended_on": "2026-02-01", "why": "a newer edition"}
    assert judged.post("/regulations/2/ending", ending).status_code == 303
    assert verdict_of(look(judged)) == "good"  # under the example, which is in force
    page = look(judged, regulation_id="2", may_along="true", far_along="1/2")
    assert "No verdict this regulation ended 2026-02-01, not in force" in verdict_strip(page)
    assert 'class="verdict' not in page
    assert "to spare" not in page
    assert 'id="remedies"' not in page
    refused = judged.post(WEIGHED, START | READ | {"who": who, "version": "0", "regulation_id": "2"})
    assert (refused.status_code, 'value="14 lb 14 oz"' in refused.text) == (422, True)
    assert "One limit: ended 2026-02-01, not in force" in told(refused.text)
    assert session.scalar(select(Weighing)) is None


def test_a_thumbless_ball_is_judged_as_such_and_its_plus_is_asked_for(
    judged: Client, session: Session, who: str
) -> None:
    type_rules(judged, who, t1_side="1/8", needs_plus_without_thumb="yes")
    assert (verdict_of(look(judged)), "needs a plus" in told(look(judged))) == ("", False)  # inside its one limit
    drilling = session.get_one(Drilling, 3)
    drilling.plan = leave_thumb_out(not_none(drilling.plan))
    session.commit()
    page = look(judged, along="3", along_way="fingers", across="2", across_way="right")
    assert verdict_of(page) == "bad"  # about 1 1/3 oz aside, and 1/8 is allowed
    assert "Without a thumb hole it needs a plus at the palm" in told(page)


def test_a_weight_near_a_class_is_judged_under_both(judged: Client, session: Session, who: str) -> None:
    lighter = {"c1_over": "238 oz", "c2_up_to": "238 oz", "c2_side": "1/8"}
    type_rules(judged, who, **lighter)
    assert judged.post(WEIGHED, START | READ | {"who": who, "version": "0"}).status_code == 303
    found = json.loads(json.dumps(kept(session).verdict))
    assert found["is_between_classes"]
    assert found["state"] == "weigh it"
    assert "judged under both" in verdict_strip(judged.get("/drillings/1/balance").text)


READ = {
    "stage": "after", "scale_id": "1", "weight": "14 lb 14 oz", "right_1": "1/8 right", "right_2": "1/4 right",
    "finger_1": "1/2 finger", "finger_2": "1/2 finger", "top_1": "1 3/4 top", "top_2": "1 3/4 top",
}  # fmt: skip
WEIGHED = "/drillings/1/weighings"


def kept(session: Session) -> Weighing:
    return not_none(session.scalar(select(Weighing).order_by(Weighing.id.desc()).limit(1)))


def test_a_weighing_keeps_what_was_told_then(judged: Client, session: Session, who: str) -> None:
    form = START | READ | {"who": who, "version": "0"}
    assert judged.post(WEIGHED, form).status_code == 303
    found = json.loads(json.dumps(kept(session).verdict))
    assert found["found"] == {"right": 0.1875, "finger": 0.5, "top": 1.75}
    assert found["state"] == "inside"
    assert [one["margin_oz"] for one in found["directions"]] == pytest.approx([2.8125, 2.5, 1.25])
    for way in ("right", "finger", "top"):
        shared = sum(share["change"][way] for share in found["shares"])
        assert found["predicted"][way] + found["difference"][way] == pytest.approx(found["found"][way])
        assert shared + found["rest"][way] == pytest.approx(found["difference"][way])
    assert found["density"]["balls"] == 1
    assert found["density"]["after_u"] < found["density"]["before_u"]
    page = judged.get("/drillings/1/balance").text
    assert "Weighed: inside" in page
    assert "+0.50" in page


def test_a_direction_that_nobody_read_leaves_the_verdict_open(judged: Client, session: Session, who: str) -> None:
    form = START | READ | {"who": who, "version": "0", "top_1": "", "top_2": "unknown"}
    assert judged.post(WEIGHED, form).status_code == 303
    found = json.loads(json.dumps(kept(session).verdict))
    assert found["found"]["top"] is None
    assert found["state"] == "weigh it"
    assert [one["direction"] for one in found["directions"]] == ["right_left", "finger_thumb"]
    assert found["unread"] == ["top_bottom"]
    assert "Not read yet: top or bottom" in verdict_strip(judged.get("/drillings/1/balance").text)


def test_a_weight_alone_is_not_judged_and_has_limits_all_the_same(judged: Client, session: Session, who: str) -> None:
    blank = dict.fromkeys(("right_1", "right_2", "finger_1", "finger_2", "top_1", "top_2"), "")
    assert judged.post(WEIGHED, START | READ | blank | {"who": who, "version": "0"}).status_code == 303
    found = json.loads(json.dumps(kept(session).verdict))
    assert found["unread"] == ["right_left", "finger_thumb", "top_bottom"]
    assert found["directions"] == []
    weighing = not_none(
        re.search(r'<article class="weighing.*?</article>', judged.get("/drillings/1/balance").text, re.S)
    )
    assert "no limit" not in weighing[0]


def test_too_heavy_a_side_is_outside_by_so_much(judged: Client, session: Session, who: str) -> None:
    form = START | READ | {"who": who, "version": "0", "right_1": "3 1/2 left", "right_2": "3 1/2 left"}
    asked = judged.post(WEIGHED, form)
    assert asked.status_code == 422
    assert 'id="weigh-right_1-error"' in asked.text
    assert 'name="as_read"' in asked.text
    assert judged.post(WEIGHED, form | {"as_read": "true"}).status_code == 303
    found = json.loads(json.dumps(kept(session).verdict))
    assert found["state"] == "outside"
    assert found["directions"][0]["margin_oz"] == pytest.approx(-0.5)
    assert "strip bad" in judged.get("/drillings/1/balance").text


@pytest.mark.parametrize(
    ("field", "text", "says"),
    [
        ("right_1", "1/4", "Heavier on which side"),
        ("weight", "900 oz", "A ball weighs"),
        ("scale_id", "", "Choose one"),
        ("along", "3", "Towards the fingers, or towards the thumb?"),
    ],
)
def test_a_refused_field_keeps_every_text(judged: Client, session: Session, who: str, field: str, text: str, says: str) -> None:  # fmt: skip
    answer = judged.post(WEIGHED, START | READ | {"who": who, "version": "0", field: text, "note": "by the door"})
    assert answer.status_code == 422
    assert says in told(answer.text)
    for name in READ.keys() - {"stage", "scale_id", field}:
        assert f'value="{READ[name]}"' in answer.text
    assert 'value="by the door"' in answer.text
    assert session.scalar(select(Weighing)) is None


def test_a_planned_ball_is_weighed_before_and_then_starts_from_that(judged: Client, session: Session, who: str) -> None:
    after = judged.post("/drillings/3/weighings", START | READ | {"who": who, "version": "0"})
    assert after.status_code == 422
    assert "not drilled yet" in told(after.text)
    before = READ | {"stage": "before", "weight": "15 lb 14 oz", "who": who, "version": "0"}
    assert judged.post("/drillings/3/weighings", before).status_code == 303
    page = judged.get("/drillings/3/balance").text
    assert "weighed-ways" in page
    assert "weighed all three ways" in page


def test_a_weighing_taken_back_is_kept_and_counts_nowhere(judged: Client, session: Session, who: str) -> None:
    judged.post(WEIGHED, START | READ | {"who": who, "version": "0"})
    address = f"/weighings/{kept(session).id}/taking-back"
    session.rollback()
    assert judged.post(address, {"who": who, "version": "1", "why": ""}).status_code == 422
    assert judged.post(address, {"who": who, "version": "1", "why": "the pan was dirty"}).status_code == 303
    page = judged.get("/drillings/1/balance").text
    assert "Weighed: inside" not in page
    assert "the pan was dirty" in page


def test_what_a_verdict_hangs_on_without_a_source_is_marked(judged: Client, who: str) -> None:
    page = look(judged)
    counted = not_none(re.search(r'<details class="fold" id="counted">.*?</details>', page, re.S))[0]
    marked = {told(dt): "ASSUMED" in dd for dt, dd in re.findall(r"<dt>(.*?)</dt>\s*<dd>(.*?)</dd>", counted, re.S)}
    hung = {
        "Weight, drilled", "Heavy spot from the grip centre", "Ball, as dense as", "Sleeve, inner, slug",
        "Finger inserts", "Arm of the scale", "Weight class", "At a limit",
    }  # fmt: skip
    assert {name for name in hung if not marked[name]} == set()
    assert counted.count("<dt>Top weight</dt>") == 2  # where it is from, and its number
    assert marked["Top weight"]
    assert judged.post(WEIGHED, START | READ | {"who": who, "version": "0"}).status_code == 303
    weighing = not_none(
        re.search(r'<article class="weighing.*?</article>', judged.get("/drillings/1/balance").text, re.S)
    )
    assert "1/16 oz, ASSUMED" in told(weighing[0])


LEFT_HEAVY = {"start_top": "4", "along": "0", "across": "5", "across_way": "left"}


def test_what_is_ticked_brings_it_inside_and_no_hole_is_added(judged: Client) -> None:
    outside = judged.get("/drillings/3/balance", params=LEFT_HEAVY).text
    assert verdict_of(outside) == "bad"
    ticked = LEFT_HEAVY | {"may_across": "true", "far_across": "2"}
    page = judged.get("/drillings/3/balance", params=ticked).text
    remedies = not_none(re.search(r'<ol class="remedies">.*?</ol>', page, re.S))[0]
    assert "Move the grip" in told(remedies)
    assert "to the left" in told(remedies)
    refused = judged.get("/drillings/3/balance", params=ticked | {"far_across": "9"})
    assert refused.status_code == 422
    assert 'id="remedy-far_across-error"' in refused.text
    none = judged.get("/drillings/3/balance", params=LEFT_HEAVY | {"may_depth_1": "true", "far_depth_1": "1/16"}).text
    assert "Nothing within these limits" in none


def test_an_impossible_place_is_a_question_at_its_field(judged: Client) -> None:
    answer = judged.get("/drillings/3/balance", params=START | {"across": "8", "across_way": "left"})
    assert answer.status_code == 422
    assert "more than a quarter of the ball" in told(answer.text)
    assert 'value="8"' in answer.text
