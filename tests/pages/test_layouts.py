"""The pages of a layout: its numbers, what is refused at its field, strips read back, two layouts side by side."""

import re
from fractions import Fraction
from itertools import pairwise

import pytest
from httpx import Response

from app.calculation.layout_strips import lay_layout_strips
from app.calculation.layouts import AxisPoint, Layout, solve_layout
from app.measures.wording import mark_words
from app.pages.strip_pictures import draw_strips
from tests.conftest import Client, CountQueries, not_none
from tests.pages.drawn import read_drawn
from tests.pages.test_pages import text_of
from tests.pages.test_strips import read_strips

POINT = {"hand": "right", "point": "4 1/2 over 1/2 up", "found_by": "tape"}
NUMBERS = {"axis_point_id": "1", "pin_axis": "4", "axis_line": "35", "drilling": "40"}
MM = 25.4


def record_point(client: Client, who: str, bowler_id: int = 1, **typed: str) -> None:
    answer = client.post(f"/bowlers/{bowler_id}/axis-points", POINT | typed | {"who": who})
    assert answer.status_code == 303, answer.text


def choose(client: Client, who: str, ball_id: int = 1, **typed: str) -> Response:
    form = not_none(re.search(r'<form [^>]*id="layout".*?</form>', client.get(f"/balls/{ball_id}/layout").text, re.S))[
        0
    ]
    shown = dict(re.findall(r'name="(version)" value="(\d+)"', form))
    return client.post(f"/balls/{ball_id}/layouts", NUMBERS | shown | typed | {"who": who})


def read_arcs(html: str) -> dict[str, float]:
    table = not_none(re.search(r'<table class="arcs">.*?</table>', html, re.S))[0]
    rows = re.findall(r'<th scope="row">(.*?)(?:\s*<span.*?)?</th>.*?class="decimal">([\d.]+)<', table, re.S)
    return {words: float(value) for words, value in rows}


def test_a_ball_whose_bowler_has_no_axis_point_leads_to_where_one_is_recorded(client: Client) -> None:
    shown = client.get("/balls/1/layout").text
    assert 'href="/bowlers/1/axis-points?return_to=/balls/1/layout"' in shown
    assert 'name="pin_axis"' not in shown


@pytest.mark.parametrize("hand", ["right", "left"])
def test_the_arcs_of_the_worked_example_are_alike_for_both_hands(client: Client, who: str, hand: str) -> None:
    """Source: the project's geometry contract, section on layout marks."""
    record_point(client, who, hand=hand)
    arcs = read_arcs(client.get("/balls/1/layout", params=NUMBERS).text)
    told = {
        "Pin to axis line, square": 2.054415, "Assumed mass mark to axis point": 3.906537, "Grip centre to axis point": 4.516757,
        "Grip centre to pin": 3.670435, "Grip centre to assumed mass mark": 4.106627, "Pin to axis point": 4.0,
    }  # fmt: skip
    for words, value in told.items():
        assert arcs[words] == pytest.approx(value, abs=5.1e-4), words


def test_the_marking_list_mirrors_its_swings_for_a_left_hand(client: Client, who: str) -> None:
    record_point(client, who)
    record_point(client, who, hand="left")
    for point_id, ways in (
        ("1", ("40° anticlockwise", "35° clockwise")),
        ("2", ("40° clockwise", "35° anticlockwise")),
    ):
        shown = client.get("/balls/1/layout", params=NUMBERS | {"axis_point_id": point_id}).text
        assert re.findall(r'<span class="swung">(\d+° \w+)</span>', shown) == list(ways)


def test_what_cannot_be_built_is_an_error_at_its_field_and_all_text_is_kept(client: Client, who: str) -> None:
    record_point(client, who)
    answer = choose(client, who, pin_axis="13 1/2", note="as she likes it")
    assert answer.status_code == 422
    assert 'id="pin_axis-error"' in answer.text
    for text in ("13 1/2", "35", "40", "as she likes it"):
        assert f'value="{text}"' in answer.text
    other_way = choose(client, who, axis_line="330")  # the calculation API has −180 to 180 too
    assert (other_way.status_code, 'value="330"' in other_way.text) == (422, True)
    assert re.search(r'id="axis_line-error".{1,300}data-fill="axis_line">-30<', other_way.text, re.S)
    missing = choose(client, who, drilling="")
    assert 'id="drilling-error"' in missing.text
    assert "not chosen" in text_of(client.get("/balls/1/layout").text)


def test_a_chosen_layout_counts_until_it_is_dropped_and_a_favourite_fills_the_fields(client: Client, who: str) -> None:
    record_point(client, who)
    assert choose(client, who).headers["location"] == "/balls/1/layout"
    assert 'name="drilling" value="40"' in client.get("/balls/1/layout").text
    client.post("/layouts/1/favourite", {"label": "Smooth", "who": who})
    choose(client, who, drilling="70")
    shown = client.get("/balls/1/layout").text
    assert 'name="drilling" value="70"' in shown
    assert 'href="/balls/1/layout?favourite_id=1"' in shown
    liked = client.get("/balls/1/layout?favourite_id=1").text
    assert 'name="drilling" value="40"' in liked
    assert "not saved" in text_of(liked)
    assert client.post("/layouts/2/dropping", {"why": "too strong", "version": "1", "who": who}).status_code == 303
    shown = client.get("/balls/1/layout").text
    assert 'name="drilling" value="40"' in shown
    assert "too strong" in shown
    assert client.post("/favourite-layouts/1/removal", {"ball_id": "1", "who": who}).status_code == 303
    assert "favourite_id=1" not in client.get("/balls/1/layout").text


def test_a_drop_without_a_reason_shows_its_own_form_again(client: Client, who: str) -> None:
    record_point(client, who)
    choose(client, who)
    answer = client.post("/layouts/1/dropping", {"why": "", "version": "1", "who": who})
    assert answer.status_code == 422
    assert 'id="drop-1-why-error"' in answer.text


def test_places_are_read_back_into_the_fields(client: Client, who: str) -> None:
    """Source: the places of the worked example in the project's geometry contract."""
    record_point(client, who)
    places = {
        "axis_point_id": "1", "pin_along": "3.577689", "pin_along_way": "fingers", "pin_across": "0.942422",
        "pin_across_way": "right", "mark_along": "3.685229", "mark_along_way": "palm", "mark_across": "2.108438",
        "mark_across_way": "right",
    }  # fmt: skip
    shown = client.get("/balls/1/layout/reading", params=places)
    assert shown.status_code == 200
    for name, text in (("pin_axis", "4.000"), ("axis_line", "35.00"), ("drilling", "40.00")):
        assert re.search(rf'name="{name}" value="{text}"', shown.text)
    refused = client.get("/balls/1/layout/reading", params=places | {"mark_across_way": ""})
    assert refused.status_code == 422
    assert 'id="mark_across_way-error"' in refused.text
    assert 'name="pin_along" value="3.577689"' in refused.text


def test_places_beyond_the_doubt_are_asked_about_and_kept_ones_are_not_green(client: Client, who: str) -> None:
    record_point(client, who)
    marks = {"who": who, "version": "0", "has_mass_mark": "yes", "pin_mark": "6"}
    assert client.post("/balls/1/marks", marks).status_code == 303
    places = {
        "axis_point_id": "1", "pin_along": "3.577689", "pin_along_way": "fingers", "pin_across": "0.942422",
        "pin_across_way": "right", "mark_along": "3.685229", "mark_along_way": "palm", "mark_across": "2.108438",
        "mark_across_way": "right",
    }  # fmt: skip
    asked = client.get("/balls/1/layout/reading", params=places)
    assert (asked.status_code, 'value="3.685229"' in asked.text) == (422, True)
    assert 'id="mark_along-error"' in asked.text and 'name="is_as_read"' in asked.text
    kept = client.get("/balls/1/layout/reading", params=places | {"is_as_read": "true"})
    assert kept.status_code == 200
    assert re.search(r'name="note"[^>]* value="[^"]*0\.750 in longer', kept.text)  # 6.75 less 6
    answer = not_none(re.search(r'<div id="answer".*?</div>', kept.text, re.S))[0]
    assert "good" not in answer and "contradict" in answer
    texts = dict(re.findall(r'name="(pin_axis|axis_line|drilling|misfit)" value="([^"]*)"', kept.text))
    assert texts["misfit"] == "0.750"
    assert choose(client, who, **texts).status_code == 303
    for query in ({}, texts | {"axis_point_id": "1"}):
        chosen = client.get("/balls/1/layout", params=query).text
        answer = not_none(re.search(r'<div id="answer".*?</div>', chosen, re.S))[0]
        assert "good" not in answer and "contradict" in answer and "0.750 in longer" in answer
    assert 'name="misfit" value="0.750"' in chosen
    assert client.post("/balls/1/marks", marks | {"version": "1", "pin_mark": "6 3/4"}).status_code == 303
    assert 'name="misfit" value=""' in client.get("/balls/1/layout").text  # read anew: not carried to a new choice
    assert choose(client, who, **texts | {"misfit": "a lot"}).status_code == 422


def test_two_layouts_differ_in_64ths_and_degrees(client: Client, who: str) -> None:
    record_point(client, who)
    choose(client, who)
    asked = {
        "one": "layout-1",
        "other": "typed",
        "axis_point_id": "1",
        "pin_axis": "4 1/4",
        "axis_line": "30",
        "drilling": "40",
    }
    shown = client.get("/balls/1/layout/comparison", params=asked).text
    rows = {
        text_of(head).strip(): text_of(by).strip()
        for head, by in re.findall(r'<th scope="row">(.*?)</th><td class="by">(.*?)</td>', shown, re.S)
    }
    assert rows["Pin to axis point"] == "+ 16 ⁄ 64 longer"
    assert rows["Axis-line angle"] == "−5°"
    assert "marks are not measured" in text_of(shown).partition("Static balance")[2]
    assert rows["Drilling angle"] == "the same"
    assert client.get("/balls/1/layout/comparison", params=asked | {"one": "layout-99"}).status_code == 404


def test_the_strips_of_the_pdf_are_as_long_as_their_arcs(client: Client, who: str) -> None:
    """Read back from the drawing operators of the PDF; source of the arcs: the project's geometry contract."""
    record_point(client, who)
    choose(client, who)
    pdf = client.get("/layouts/1/strips.pdf")
    assert pdf.headers["content-type"] == "application/pdf"
    lengths = [(strip[-1] - strip[0]) / MM for strip in read_strips(read_drawn(pdf.content).paths)]
    wanted = [4.0, 0.5, 4.5, 3.670435, 4.106627]  # pin to mass mark is longer than a page and has two pieces
    for value in wanted:
        assert min(abs(length - value) for length in lengths) < 0.1 / MM, (value, lengths)


@pytest.mark.parametrize("mark_name", ["mass mark", "assumed mass mark", "centre-of-gravity mark"])
def test_no_title_of_a_strip_is_cut_and_its_lines_keep_apart(mark_name: str) -> None:
    """Letters of 2.5 mm: lines closer than that would touch; none crosses the middle of the strip or its edge."""
    laid = solve_layout(
        27.0, "right", AxisPoint(4.5, 0.5), Layout(4.0, 35.0, 40.0, 6.75 if mark_name[0] != "c" else 2.5)
    )
    strips = lay_layout_strips(laid, mark_name)
    identity = ("Deshawn Rourke-Halloran", "Blue pearl, number two", "4 1/2 in, 35°, 50° · right · 2026-11-27")
    whole = {f"{strip.start} to {strip.end}".capitalize() for strip in strips}
    for picture in draw_strips(strips, 1.0, identity, {}):
        assert " ".join(line.text for line in picture.lines if line.is_strong).replace("- ", "-") in whole
        rows = [line.y for line in picture.lines]
        assert all(below - above >= 2.5 for above, below in pairwise(rows))
        assert all(y - 1.9 > 0 and y + 0.6 < 20 and not y - 1.9 < 10 < y + 0.6 for y in rows)


@pytest.mark.parametrize("mark_in", [6.75, 7.5, 8.25])
def test_each_piece_of_a_strip_says_what_is_on_it_and_where_it_joins(mark_in: float) -> None:
    laid = solve_layout(27.0, "right", AxisPoint(4.5, 0.5), Layout(4.0, 35.0, 40.0, mark_in))
    strips = [strip for strip in lay_layout_strips(laid) if strip.end == "mass mark" and strip.start == "pin"]
    notes = {"pin mass mark": ["By tape", mark_words(mark_in)]}
    pieces = draw_strips(strips, 1.0, ("Deshawn Rourke", "Blue pearl", "right · 2026-11-27"), notes)
    assert len(pieces) == 2
    told = [" ".join(line.text for line in piece.lines) for piece in pieces]
    shape = r"Piece (.+?) to (.+?) joins at (\d) in whole by tape (\S+ \S+)"
    first, last = spans = [not_none(re.search(shape, text)) for text in told]
    assert (first[1], last[2], first[3]) == ("0", mark_words(mark_in), last[3])
    assert {first[4], last[4]} == {mark_words(mark_in)}
    for piece, span in zip(pieces, spans, strict=True):
        places = [mark.x for mark in piece.marks]
        drawn_in = (places[-1] - places[0]) / MM
        assert drawn_in == pytest.approx(float(read_mixed(span[2]) - read_mixed(span[1])), abs=1 / 128)
    assert "…" not in "".join(told)


def read_mixed(words: str) -> Fraction:
    """`6 3/4` as a number, of a nearest mark without full or shy."""
    return sum((Fraction(part) for part in words.split() if part[0].isdigit()), Fraction(0))


@pytest.mark.parametrize("hand", ["right", "left"])
def test_strips_of_every_layout_from_a_point_on_the_midline_are_laid(client: Client, who: str, hand: str) -> None:
    """The step from the axis point to the midline has no length: it is told as one point, and drawn as its dot."""
    record_point(client, who, hand=hand, point="4 over 0 up")
    saved = 0
    for axis_line in ("-90", "0", "180"):
        for drilling in ("-180", "0", "90"):
            typed = {"axis_line": axis_line, "drilling": drilling, "pin_axis": "6 3/4"}
            assert choose(client, who, 1, **typed).status_code == 303
            saved += 1
            strips = client.get(f"/layouts/{saved}/strips")
            assert strips.status_code == 200, typed
            assert "are the same point" in text_of(strips.text)
            page = client.get("/balls/1/layout", params=NUMBERS | typed).text
            assert "are the same point" in text_of(page)


def test_a_print_scale_corrects_the_strips(client: Client, who: str) -> None:
    record_point(client, who)
    choose(client, who)
    widths = [
        max(
            map(
                float,
                re.findall(r'<svg class="strip" width="([\d.]+)mm"', client.get(f"/layouts/1/strips{asked}").text),
            )
        )
        for asked in ("", "?bar=98 mm")
    ]
    assert widths[1] > widths[0]
    assert client.get("/layouts/1/strips?bar=nothing").status_code == 422


def test_a_conflict_is_named_with_gap_and_limit(client: Client, who: str) -> None:
    record_point(client, who, track="4 1/8")
    shown = text_of(client.get("/balls/1/layout", params=NUMBERS).text)
    assert "Ring hole crossed by the track" in shown
    assert (
        client.post("/settings/least_to_pin", {"value": "5", "source": "ours", "version": "0", "who": who}).status_code
        == 303
    )
    shown = text_of(client.get("/balls/1/layout", params=NUMBERS).text)
    assert re.search(r"ring hole .{1,20} from the pin, at least 5", shown, re.I)


def test_a_drilling_shows_the_layout_that_it_takes_up(client: Client, who: str) -> None:
    assert 'href="/balls/3/layout"' in client.get("/drillings/3").text
    record_point(client, who, 2, hand="left")
    choose(client, who, 3)
    shown = client.get("/drillings/3").text
    assert 'href="/layouts/1/strips"' in shown
    assert re.search(r"Layout\s+4 · 35° · 40°", text_of(shown))


def test_the_bench_tells_its_layout_and_what_its_holes_come_too_near(
    client: Client, who: str, count_queries: CountQueries
) -> None:
    client.get("/drillings/3/bench")
    without = count_queries(lambda: client.get("/drillings/3/bench"))
    record_point(client, who, 2, hand="left")
    choose(client, who, 3)
    shown = client.get("/drillings/3/bench").text
    assert 'href="/layouts/1/strips"' in shown
    assert re.search(r"Layout\s+4 · 35° · 40°", text_of(shown))
    assert "bench-apart" not in shown
    assert count_queries(lambda: client.get("/drillings/3/bench")) <= without + 2  # the newest marks, the shop's limits
    client.post("/settings/least_to_pin", {"value": "5", "source": "ours", "version": "0", "who": who})
    apart = re.search(r'<p class="bench-apart">(.*?)</p>', client.get("/drillings/3/bench").text, re.S)
    told = re.findall(r"(\w+) hole .{1,20}? from the pin, at least 5", text_of(not_none(apart)[1]))
    assert sorted(told) == ["middle", "ring"]  # the thumb lies further from this pin
    page = text_of(client.get("/drillings/3").text)
    assert all(re.search(rf"{hole} hole .{{1,20}}? from the pin, at least 5", page, re.I) for hole in told)


def test_title_and_forms_follow_the_axis_point_that_is_tried(client: Client, who: str) -> None:
    record_point(client, who)
    record_point(client, who, hand="left", point="5 over 1/4 down")
    whole = client.get("/balls/1/layout", params=NUMBERS).text
    tried = client.get("/balls/1/layout", params=NUMBERS | {"axis_point_id": "2"}, headers={"HX-Request": "true"}).text
    for shown, hand, over, point_id in ((whole, "right", "4", "1"), (tried, "left", "5", "2")):
        told = {
            of: text_of(words) for of, words in re.findall(r'id="layout-(hand|point)"[^>]*>(.*?)</(?:span|a)>', shown)
        }
        assert told["hand"].strip() == hand
        assert told["point"].strip().startswith(over)
        assert dict(re.findall(r'value="(\d)" id="(?:(reading)-point)"', shown)) == {point_id: "reading"}
    assert set(re.findall(r'id="([\w-]+)" hx-swap-oob', tried)) >= {"layout-hand", "layout-point", "reading-point"}


def test_a_fragment_tells_the_drawing_the_answer_and_the_list(client: Client, who: str) -> None:
    record_point(client, who)
    shown = client.get("/balls/1/layout", params=NUMBERS, headers={"HX-Request": "true"}).text
    assert "<h1" not in shown
    assert {"answer", "told", "marking"} <= set(re.findall(r'id="(\w+)" hx-swap-oob', shown))
    assert 'class="axis-point"' in shown
