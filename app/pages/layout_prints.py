"""The marking list and the strips of a layout, 1:1."""

from typing import Annotated, Literal

from fastapi import Query, Response

from app.calculation.layout_strips import lay_layout_strips
from app.measures.print_scale import read_print_scale
from app.measures.wording import mark_words
from app.pages import layout_views, strip_pictures
from app.pages.admission import PageDep, PageRouter, RecordId
from app.pages.formats import format_local_day
from app.pages.prints import answer_print, make_qr_code
from app.pages.render import Page
from app.services import layout_choices, layout_standings, layouts
from app.services.layout_work_outs import work_out_layout

router = PageRouter()
Bar = Annotated[str, Query(max_length=80)]
Paper = Literal["A4", "letter"]


def _print_strips(page: Page, layout_id: int, is_pdf: bool, bar: str, paper: str = "") -> Response:
    saved = layouts.get_layout(page.session, layout_id)
    of = layout_choices.load(page.session, saved.ball_id)
    on = layout_choices.stand_on(page.session, of, saved.axis_point, saved.marks)
    worked = work_out_layout(saved, on)
    reading = read_print_scale(bar)
    scale = 1 / float(reading.value or 1)
    is_own = layout_standings.is_of_owner(page.session, saved.ball, saved.axis_point)
    person = saved.ball.bowler.name if is_own else "Former owner"
    identity = (
        person,
        saved.ball.label,
        f"{layouts.describe(saved)} · {saved.hand} · {format_local_day(saved.chosen_at)}",
    )
    strips = lay_layout_strips(worked.laid, worked.mark_name)
    notes = {f"{strip.start} {strip.end}": ["By tape", mark_words(strip.length_in)] for strip in strips}
    answer = answer_print(
        page,
        "prints/layout_strips.html",
        f"layout-strips-{saved.id}",
        is_pdf and reading.is_usable,
        paper,
        layout=saved,
        person=person,
        bar=bar,
        reading=reading,
        scale=scale,
        strips=strip_pictures.draw_strips(strips, scale, identity, notes),
        code=make_qr_code(page, f"/balls/{saved.ball_id}/layout"),
        **layout_views.show_worked(worked, on),
    )
    answer.status_code = 200 if reading.is_usable else 422
    return answer


@router.get("/layouts/{layout_id}/strips")
def show_layout_strips(page: PageDep, layout_id: RecordId, bar: Bar = "") -> Response:
    return _print_strips(page, layout_id, is_pdf=False, bar=bar)


@router.get("/layouts/{layout_id}/strips.pdf")
def download_layout_strips(page: PageDep, layout_id: RecordId, bar: Bar = "", paper: Paper = "A4") -> Response:
    return _print_strips(page, layout_id, is_pdf=True, bar=bar, paper=paper)
