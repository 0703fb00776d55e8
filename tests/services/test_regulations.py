"""Regulations as dated data: which is in force when, what an import refuses, and what a typed one says.

The limits of the example are those that rule texts of the sport's governing bodies print, as restated in public:
3 oz each way over 10 lb, and 2 oz and 3/4 oz for 8 to 10 lb.
"""

import json
from datetime import date, timedelta
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import JsonValue
from sqlalchemy.orm import Session

from app.errors import ConflictError, InvalidError
from app.models import Regulation
from app.schemas.forms import SignedForm
from app.schemas.regulations import EndingForm, ImportForm, RegulationForm
from app.services import regulations
from app.services.example_regulation import EXAMPLE

TYPED = {
    "edition": "Our copy", "in_force_from": "2026-01-01", "source": "the manual", "c1_over": "10 lb", "c1_top_bottom": "3",
    "c1_side": "3", "c1_finger_thumb": "85 g", "c2_up_to": "160 oz", "c2_side": "3/4", "t1_over": "10", "t1_top_bottom": "3",
    "vent_largest": "1/4", "mill_hole_deepest": "1/8", "most_holes": "5", "needs_plus_without_thumb": "yes",
}  # fmt: skip


def add(session: Session, who: str, **typed: str) -> Regulation:
    made = regulations.add(session, RegulationForm.read({"who": who} | TYPED | typed))
    session.flush()
    return made


def test_a_typed_regulation_holds_exact_limits_and_the_texts(session: Session, who: str) -> None:
    body = regulations.read_body(add(session, who))
    heavy = body.find_class(Fraction(240))
    assert heavy is not None
    assert (heavy.over_oz, heavy.top_bottom_oz, heavy.side_oz) == ("160", "3", "3")
    assert Fraction(heavy.finger_thumb_oz or 0) == 85 / Fraction("28.349523125")
    assert (body.vent_largest_in, body.mill_hole_deepest_in, body.most_holes) == ("1/4", "1/8", 5)
    assert body.needs_plus_without_thumb is True
    assert body.typed["c1_finger_thumb"] == "85 g"


def test_a_limit_counts_as_within_its_class(session: Session, who: str) -> None:
    body = regulations.read_body(add(session, who))
    found = [body.find_class(Fraction(text)) for text in ("160", "1601/10")]
    assert [of and (of.side_oz, of.top_bottom_oz) for of in found] == [("3/4", None), ("3", "3")]
    assert body.find_class(Fraction(150), has_thumb=False) is None  # it says nothing of such a ball
    thumbless = body.find_class(Fraction(240), has_thumb=False)
    assert thumbless is not None
    assert thumbless.side_oz is None


@pytest.mark.parametrize(
    ("typed", "field"),
    [
        ({"c2_up_to": "11 lb"}, "c1_over"), ({"c1_over": "14 lb", "c1_up_to": "12 lb"}, "c1_over"), ({"c1_side": "3 in"}, "c1_side"),
        ({"c1_over": "", "c1_top_bottom": "", "c1_side": "", "c1_finger_thumb": "", "c2_up_to": "", "c2_side": ""}, "c1_top_bottom"),
        ({"most_holes": "many"}, "most_holes"), ({"in_force_from": ""}, "in_force_from"), ({"source": ""}, "source"),
    ],
)  # fmt: skip
def test_what_contradicts_itself_is_asked_about_at_its_field(who: str, typed: dict[str, str], field: str) -> None:
    with pytest.raises(InvalidError) as asked:
        RegulationForm.read({"who": who} | TYPED | typed)
    assert list(asked.value.fields) == [field]


def test_a_regulation_is_in_force_from_its_day_until_the_day_before_it_ends(session: Session, who: str) -> None:
    made = add(session, who)
    end = EndingForm.read({"who": who, "ended_on": "2026-06-01", "why": "a newer edition"})
    regulations.end(session, made.id, end)
    first, last = date(2026, 1, 1), date(2026, 6, 1)
    days = [first - timedelta(days=1), first, last - timedelta(days=1), last]
    assert [regulations.is_in_force(made, day) for day in days] == [False, True, True, False]
    with pytest.raises(ConflictError):
        regulations.end(session, made.id, end)


def test_an_own_regulation_stands_before_the_example(session: Session, who: str) -> None:
    example = regulations.add_example(session, SignedForm.read({"who": who}))
    own = add(session, who)
    assert regulations.list_in_force(session, date(2026, 3, 1)) == [own, example]
    with pytest.raises(ConflictError):
        regulations.add_example(session, SignedForm.read({"who": who}))


def test_the_example_has_the_published_limits_and_is_marked(session: Session, who: str) -> None:
    example = regulations.add_example(session, SignedForm.read({"who": who}))
    body = regulations.read_body(example)
    limits = [
        of and (of.top_bottom_oz, of.side_oz, of.finger_thumb_oz)
        for of in (body.find_class(Fraction(oz)) for oz in ("240", "160.01", "160", "128.1", "128"))
    ]
    assert limits == [("3", "3", "3")] * 2 + [("2", "3/4", "3/4")] * 2 + [("3/4", "3/4", "3/4")]
    assert (body.vent_largest_in, body.mill_hole_largest_in, body.mill_hole_deepest_in) == ("1/4", "5/8", "1/8")
    assert example.is_example


def test_what_a_page_shows_can_be_imported_elsewhere(session: Session, who: str) -> None:
    made = add(session, who)
    text = regulations.write_file(made)
    other = json.loads(text) | {"edition": "Theirs"}
    again = regulations.add_imported(session, ImportForm.read({"who": who, "text": json.dumps(other)}))
    assert (again.body, again.in_force_from) == (made.body, made.in_force_from)
    with pytest.raises(InvalidError):
        regulations.add_imported(session, ImportForm.read({"who": who, "text": text}))


def broken(**body: JsonValue) -> str:
    return json.dumps({**EXAMPLE, "body": {**EXAMPLE["body"], **body}})  # type: ignore[dict-item]


@pytest.mark.parametrize(
    "text",
    [
        "{", "[]", "3", "[" * 5_000, json.dumps({"edition": "x"}), broken(classes=[]), broken(vent_largest="1/4"),
        broken(classes=[{"side_oz": "three"}]), broken(classes=[{"side_oz": "1/0"}]), broken(classes=[{"side_oz": True}]),
        broken(classes=[{"side_oz": "1e999999"}]), broken(classes=[{"side_oz": -1}]), broken(classes=[{"up_to_oz": "160"}]),
        broken(classes=[{"side_oz": 3}, {"side_oz": 2, "over_oz": 100}]), broken(most_holes="5 or so"),
        broken(classes=[{"side_oz": "1e99999999"}]), '{"edition": ' + "9" * 5_000 + "}", broken(most_holes=10**400),
        broken(classes=[{"side_oz": "9" * 5_000}]), broken(classes=[{"side_oz": "1/" + "9" * 5_000}]),
        broken(classes=[{"side_oz": float("nan")}]), broken(classes=[{"side_oz": 1e308}]),
        broken(classes=[{"side_oz": "\u0663"}]), broken(notes="right\u202eleft"), broken(counted_holes="a\0b"),
        broken(typed={"c1_side": "\0"}), json.dumps({**EXAMPLE, "edition": "a\0b"}), json.dumps({**EXAMPLE, "source": "\ud800"}),
        json.dumps({**EXAMPLE, "in_force_from": 1e308}), json.dumps({**EXAMPLE, "in_force_from": 86_400}),
    ],
)  # fmt: skip
def test_an_import_that_is_no_regulation_is_refused_at_its_field(session: Session, who: str, text: str) -> None:
    with pytest.raises(InvalidError) as refused:
        regulations.add_imported(session, ImportForm.read({"who": who, "text": text}))
    assert list(refused.value.fields) == ["text"]
    assert regulations.list_regulations(session) == []


@pytest.mark.parametrize(
    ("of", "value", "message"),
    [
        ("side_oz", "16.001", "A limit is 0 to 16 oz."), ("side_oz", 17, "A limit is 0 to 16 oz."),
        ("top_bottom_oz", "-1", "Write a number"), ("finger_thumb_oz", "1/2000", "A limit is 0, or at least 0.001 oz."),
        ("side_oz", "0.000000000000000001", "A limit is 0, or at least 0.001 oz."), ("side_oz", 1e-30, "Write a number"),
        ("over_oz", "95", "The weight of a ball is 96 to 256 oz."), ("up_to_oz", "257", "The weight of a ball is 96 to 256 oz."),
        ("vent_largest_in", "0.01", "A size is 0.02 to 3 in."), ("mill_hole_deepest_in", "4", "A size is 0.02 to 3 in."),
    ],
)  # fmt: skip
def test_an_import_has_the_ranges_of_the_form(who: str, of: str, value: JsonValue, message: str) -> None:
    row: dict[str, JsonValue] = {"side_oz": "1", of: value}
    body: dict[str, JsonValue] = {of: value} if of.endswith("_in") else {"classes": [row]}
    with pytest.raises(InvalidError) as refused:
        ImportForm.read({"who": who, "text": broken(**body)}).read_file()
    assert message in refused.value.fields["text"].message
    name = of.removesuffix("_oz").removesuffix("_in")
    typed = {name if of.endswith("_in") else f"c1_{name}": str(value)}
    if "e" not in str(value):
        with pytest.raises(InvalidError) as asked:
            RegulationForm.read({"who": who} | TYPED | typed)
        assert list(asked.value.fields) == list(typed)


@pytest.mark.parametrize("value", ["0", 0, "0.001", "16", 16.0, "136/47"])
def test_the_ends_of_a_limits_range_are_within(who: str, value: JsonValue) -> None:
    file = ImportForm.read({"who": who, "text": broken(classes=[{"side_oz": value}])}).read_file()
    assert Fraction(file.body.classes[0].side_oz or -1) == Fraction(str(value))


@given(st.from_regex(r"[0-9]{0,80}[./e]?[0-9-]{0,5000}", fullmatch=True))
def test_no_text_of_digits_makes_a_limit_longer_than_its_bound(text: str) -> None:
    try:
        file = ImportForm.read({"who": "1", "text": broken(classes=[{"side_oz": text}])}).read_file()
    except InvalidError:
        return
    amount = Fraction(file.body.classes[0].side_oz or -1)
    assert 0 <= amount <= 16
    assert amount.denominator < 10**30


@pytest.mark.parametrize("text", ["right\u202eleft", "a\x07b"])
def test_what_nobody_sees_is_refused_where_a_regulation_is_typed(who: str, text: str) -> None:
    for field in ("edition", "source", "notes", "device_words", "counted_holes"):
        with pytest.raises(InvalidError) as refused:
            RegulationForm.read({"who": who} | TYPED | {field: text})
        assert list(refused.value.fields) == [field]
    assert RegulationForm.read({"who": who} | TYPED | {"notes": "one\r\ntwo\tthree"}).notes == "one\r\ntwo\tthree"
