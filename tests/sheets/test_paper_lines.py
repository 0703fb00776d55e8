"""Cards read from their lines: fields, questions at their line, and what is never guessed."""

from collections.abc import Mapping

import pytest

from app.sheets.paper_lines import ORDERS, USUAL_ORDER, WAYS, next_way, read_card

HOUSE = {
    "line_order": USUAL_ORDER, "first_finger": "middle", "span_edges": "cut", "bridge_edges": "cut",
    "style": "fingertip", "plain_vertical": "forward", "plain_lateral": "right", "seen_from": "outside", "units": "in",
}  # fmt: skip
CARD = {
    "name": "Odo Brandt, r", "middle": "4 3/8 1/4r 1/8l 3/4", "ring": "4 1/2 0 1/8l 25/32", "thumb": "1/4r 1/8l 31/32",
    "rest": "b 1/4",
}  # fmt: skip


def ask(lines: Mapping[str, str], said: Mapping[str, str]) -> dict[str, list[str]]:
    found = read_card(1, CARD | dict(lines), HOUSE, said)
    return {line: [q.field for q in questions] for line, questions in found.questions.items()}


def test_a_card_reads_as_its_form_would_be_filled_in() -> None:
    row = read_card(1, CARD, HOUSE, {}).row
    assert row.bowler == {"name": "Odo Brandt", "hand": "right"}
    assert row.fit["spans"] == "middle 4 3/8, ring 4 1/2"
    assert (row.fit["span_edges"], row.fit["bridge"], row.fit["style"]) == ("cut", "1/4", "fingertip")
    assert [row.fit[f"{d}_pitch"] for d in ("middle", "ring", "thumb")] == [
        "1/4 reverse, 1/8 left", "0, 1/8 left", "1/4 reverse, 1/8 left",
    ]  # fmt: skip
    assert [row.fit[f"{d}_hole"] for d in ("middle", "ring", "thumb")] == ["3/4", "25/32", "31/32"]
    assert row.questions == ()


def test_every_order_of_a_house_reads_the_same_card() -> None:
    parts = {"span": "4 3/8", "forward": "1/4 r", "lateral": "1/8 l", "hole": "3/4"}
    for order in ORDERS:
        line = "; ".join(parts[name] for name in order.split())
        thumb = "; ".join({"hole": "31/32"}.get(n, parts[n]) for n in order.split() if n != "span")
        ring = line.replace("4 3/8", "4 1/2")
        row = read_card(1, CARD | {"middle": line, "ring": ring, "thumb": thumb}, HOUSE | {"line_order": order}, {}).row
        assert (row.fit["middle_pitch"], row.fit["middle_hole"]) == ("1/4 reverse, 1/8 left", "3/4"), order
        assert (row.fit["thumb_hole"], row.fit["spans"]) == ("31/32", "middle 4 3/8, ring 4 1/2")


@pytest.mark.parametrize(
    ("lines", "asked"),
    [
        ({"name": "Odo Brandt"}, {"name": ["hand"]}),
        ({"name": "Brandt, Odo, l"}, {"name": ["name"]}),
        ({"name": ""}, {"name": ["name", "hand"]}),
        ({"middle": "4,375 0 0 3/4"}, {"middle": ["span_middle"]}),
        ({"middle": "9 3/8 0 0 3/4"}, {"middle": ["span_middle"]}),
        ({"middle": "5 0 0 3/4"}, {"ring": ["spans"]}),
        ({"middle": "4 3/8 0 3/4"}, {"middle": ["parting middle"]}),
        ({"middle": "4 3/8 1/4 r ? 3/4"}, {"middle": ["middle_pitch"]}),
        ({"middle": "4 3/8 0 1/8 under 3/4"}, {"middle": ["middle_lateral"]}),
        ({"thumb": ""}, {"rest": ["grip_holes"]}),
        ({"thumb": "8-Mar 0 31/32"}, {"thumb": ["thumb_forward"]}),
    ],
)
def test_what_cannot_be_known_is_asked_at_its_line(lines: dict[str, str], asked: dict[str, list[str]]) -> None:
    assert ask(lines, {}) == asked


@pytest.mark.parametrize(
    ("lines", "holes"),
    [({"thumb": text}, "thumbless") for text in ("no thumb", "Thumbless", "-", "--", "none")]
    + [({"thumb": "", "rest": f"b 1/4; {text}"}, "thumbless") for text in ("no thumb", "thumbless")]
    + [({"ring": text, "rest": ""}, "thumb_middle") for text in ("-", "no ring")],
)
def test_a_hole_that_the_card_says_is_not_there_is_not_asked_about(lines: dict[str, str], holes: str) -> None:
    found = read_card(1, CARD | lines, HOUSE, {})
    assert (found.questions, found.row.fit["grip_holes"]) == ({}, holes)
    assert "hand_notes" not in found.row.fit


@pytest.mark.parametrize(("rest", "said"), [("no thumb", {}), ("", {"grip_holes": "thumbless"})])
def test_measures_of_a_hole_that_the_card_says_is_not_there_are_asked_about(rest: str, said: dict[str, str]) -> None:
    assert ask({"rest": rest}, said) == {"rest": ["grip_holes"]}
    assert ask({"rest": rest}, {"grip_holes": "three"}) == {}


def test_a_question_mark_for_a_hole_says_nothing_of_whether_it_is_there() -> None:
    assert ask({"thumb": "?"}, {}) == {"thumb": ["parting thumb"]}


def test_an_answer_settles_its_question() -> None:
    assert ask({"name": "Odo Brandt"}, {"hand": "left"}) == {}
    assert ask({"middle": "4,375 0 0 3/4"}, {"span_middle": "4.375"}) == {}
    assert ask({"middle": "4 3/8 1/8 l 3/4"}, {"parting middle": "4; 3/8; 1/8 l; 3/4"}) == {"ring": ["spans"]}


def test_a_side_without_a_known_view_is_asked_with_both() -> None:
    found = read_card(1, CARD, HOUSE | {"seen_from": ""}, {})
    assert {q.field: q.choices for q in found.questions["thumb"]} == {"thumb_lateral": ("1/8 right", "1/8 left")}
    turned = read_card(1, CARD, HOUSE | {"seen_from": "inside"}, {}).row
    assert turned.fit["thumb_pitch"] == "1/4 reverse, 1/8 right"


@pytest.mark.parametrize("name", ["Ida Falk (L)", "Ida Falk left", "Ida Falk [left]", "Ida Falk, l/h", "Ida Falk / l"])
def test_a_hand_behind_the_name_on_a_card_is_taken_off_it(name: str) -> None:
    row = read_card(1, CARD | {"name": name}, HOUSE | {"hand": "right"}, {}).row
    assert row.bowler == {"name": "Ida Falk", "hand": "left"}


def test_a_hand_among_the_rest_is_the_hand_and_two_hands_are_asked() -> None:
    row = read_card(1, CARD | {"name": "Ida Falk", "rest": "b 1/4; hand l"}, HOUSE, {}).row
    assert (row.bowler, row.fit.get("hand_notes")) == ({"name": "Ida Falk", "hand": "left"}, None)
    assert ask({"rest": "b 1/4; hand l"}, {}) == {"name": ["hand"]}
    assert ask({"rest": "b 1/4; hand r"}, {}) == {}


def test_a_line_that_says_none_is_a_grip_without_that_hole() -> None:
    row = read_card(1, CARD | {"thumb": "none"}, HOUSE, {}).row
    assert (row.outcome, row.fit["grip_holes"], row.fit.get("thumb_pitch")) == ("taken", "thumbless", None)


@pytest.mark.parametrize("rest", ["b1/4", "bridge1/4", "b=1/4", "b. 1/4", "1/4 b", "Bridge: 1/4", "B 1/4", "1/4b"])
def test_a_bridge_is_read_however_its_letter_stands(rest: str) -> None:
    row = read_card(1, CARD | {"rest": rest}, HOUSE, {}).row
    assert (row.outcome, row.fit["bridge"], row.fit.get("hand_notes")) == ("taken", "1/4", None)


def test_a_lone_size_among_the_rest_may_be_the_bridge_and_is_asked() -> None:
    found = read_card(1, CARD | {"rest": "drilled twice; 1/4"}, HOUSE, {})
    assert [(q.field, q.choices, q.as_typed) for q in found.questions["rest"]] == [("bridge", ("1/4",), "1/4")]
    answered = read_card(1, CARD | {"rest": "drilled twice; 1/4"}, HOUSE, {"bridge": "1/4"})
    assert (answered.is_asked, answered.row.fit["bridge"]) == (False, "1/4")
    assert answered.row.fit["hand_notes"] == "drilled twice"
    noted = read_card(1, CARD | {"rest": "b 1/4; note 1/4"}, HOUSE, {})
    assert (noted.is_asked, noted.row.fit["hand_notes"]) == (False, "1/4")


@pytest.mark.parametrize("rest", ["b 1/4; PAP 4 1/2 over 1/2 up", "b 1/4; axis: 4 1/2 over 1/2 up"])
def test_an_axis_point_of_a_card_is_read_and_kept(rest: str) -> None:
    row = read_card(1, CARD | {"rest": rest}, HOUSE, {}).row
    assert (row.outcome, row.beside["axis_point"]) == ("taken", "4 1/2 over 1/2 up")
    assert row.words["axis_point"] == "four and one-half over, one-half up"
    assert row.fit["hand_notes"] == rest.removeprefix("b 1/4; ")


def test_a_weight_is_told_as_a_note() -> None:
    row = read_card(1, CARD | {"rest": "b 1/4; weight 15 lb"}, HOUSE, {}).row
    told = [(cell.field, cell.words) for cell in row.cells if cell.field == "hand_notes"]
    assert (row.fit["hand_notes"], told) == ("weight 15 lb", [("hand_notes", "weight 15 lb")])


METRIC = {"middle": "111 3r 3l 19", "ring": "114 0 3l 20", "thumb": "6r 3.2l 24.5", "rest": "b 6"}


def test_a_metric_card_is_read_without_a_question() -> None:
    found = read_card(1, CARD | METRIC, HOUSE | {"units": "mm"}, {})
    assert not found.is_asked, found.questions
    assert found.row.fit["spans"] == "middle 111 mm, ring 114 mm"
    assert found.row.fit["thumb_pitch"] == "6 mm reverse, 3.2 mm left"
    assert (found.row.fit["thumb_hole"], found.row.fit["bridge"]) == ("24.5 mm", "6 mm")


def test_pitches_have_the_units_of_lengths_unless_they_have_their_own() -> None:
    decimal = {"middle": "4.375 .125f .125l .75"}
    row = read_card(1, CARD | decimal, HOUSE, {}).row
    assert (row.outcome, row.fit["middle_pitch"]) == ("taken", "1/8 forward, 1/8 left")
    mixed = HOUSE | {"units": "in", "pitch_units": "mm"}
    row = read_card(1, CARD | {"middle": "4.375 3f 3l .75", "ring": "4.5 0 3l .75", "thumb": "6r 0 .97"}, mixed, {}).row
    assert (row.fit["middle_pitch"], row.fit["spans"]) == ("3 mm forward, 3 mm left", "middle 4 3/8, ring 4 1/2")
    assert next_way("pitch_units", "deg") == ""


def test_an_unknown_pitch_stays_unknown() -> None:
    row = read_card(1, CARD | {"middle": "4 3/8 ? ? 3/4"}, HOUSE, {}).row
    assert (row.outcome, row.fit["middle_pitch"]) == ("taken", "unknown")


def test_what_else_stands_on_a_card_goes_to_its_field() -> None:
    rest = "b 1/4; phone 555 0163; on 2019-03-08; sleeve; semi; drilled twice"
    row = read_card(1, CARD | {"rest": rest}, HOUSE, {}).row
    assert (row.bowler["phone"], row.beside["fit_date"]) == ("555 0163", "2019-03-08")
    assert (row.fit["span_edges"], row.fit["style"], row.fit["hand_notes"]) == (
        "sleeve", "semi-fingertip", "drilled twice",
    )  # fmt: skip


def test_a_way_goes_through_its_choices_and_comes_back() -> None:
    for name in WAYS:
        seen = [first := next_way(name, "")]
        while (after := next_way(name, seen[-1])) != first and len(seen) < 20:
            seen.append(after)
        assert set(WAYS[name]) <= set(seen), name
    with pytest.raises(ValueError, match="no convention"):
        next_way("colour", "")
