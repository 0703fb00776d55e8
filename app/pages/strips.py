"""Marking strips of a drilling at 1:1, as a page and as PDF, rescaled by what the printed bar measured."""

from typing import Annotated, Literal

from fastapi import Query, Response

from app.calculation.cuts import SleeveBore
from app.calculation.grip import SolvedGrip, place_in
from app.calculation.strips import lay_rim_disc, lay_strips
from app.errors import ShopError
from app.measures.print_scale import read_print_scale
from app.measures.wording import mark_words
from app.models import Drilling
from app.models.plans import Plan
from app.pages import strip_pictures
from app.pages.admission import PageDep, PageRouter, RecordId
from app.pages.formats import format_local_day
from app.pages.prints import answer_print, find_warnings, make_qr_code
from app.pages.render import Page
from app.services import bench
from app.services.work_outs import work_out

router = PageRouter()
Bar = Annotated[str, Query(max_length=80)]
Paper = Literal["A4", "letter"]
_ON_LINE_IN = 1e-6


def _identify(of: Drilling, plan: Plan) -> tuple[str, str, str]:
    """What stands on every strip: bowler, ball, and fit, hand and date."""
    fit = f"fit {of.fit.letter}" if of.fit else f"fit {plan.fit}"
    return of.ball.bowler.name, of.ball.label, f"{fit} · {plan.grip.hand} · {format_local_day(of.planned_at)}"


def _note_lengths(solved: SolvedGrip) -> dict[str, list[str]]:
    """What a tape has to read on each strip, by its start and end."""
    start = "thumb" if solved.thumb else "plus"
    notes: dict[str, list[str]] = {}
    for finger, spans in solved.spans.items():
        told = [f"cut {mark_words(spans.cut_in)}", f"finished {mark_words(spans.finished_in)}"]
        if spans.sleeve_to_cut_in is not None:
            told.append(f"sleeve {mark_words(spans.sleeve_to_cut_in)}")
        notes[f"{start} {finger}"] = ["Span by tape" if solved.thumb else "Reach by tape", *told]
    if solved.bridge_cut_in is not None and solved.bridge_finished_in is not None:
        told = [f"cut {mark_words(solved.bridge_cut_in)}", f"finished {mark_words(solved.bridge_finished_in)}"]
        notes["middle ring"] = ["Bridge by tape", *told]
    away = {name: place_in(axis)[1] for name, axis in solved.holes.items()}
    sides = {name: f"{mark_words(abs(across))} {'right' if across > 0 else 'left'}" for name, across in away.items()}
    feet = [f"{name} {sides[name]}" for name, across in away.items() if abs(across) > _ON_LINE_IN]
    notes[f"{start} fingers"] = ["Square off", *feet] if feet else []
    return notes


def _render(page: Page, drilling_id: int, is_pdf: bool, bar: str, paper: str = "") -> Response:
    drilling = bench.get_drilling(page.session, drilling_id)
    plan = drilling.current_plan
    if plan is None:
        raise ShopError("This drilling was made elsewhere: there is no plan to print.")
    reading = read_print_scale(bar)
    scale = 1 / float(reading.value or 1)
    worked = work_out(plan)
    bored = plan.bore
    bore = SleeveBore(bored.bore_in, bored.forward_in, bored.right_in, bored.depth_in) if bored else None
    notch = None if plan.notch_deg is None else float(plan.notch_deg)
    disc = lay_rim_disc(worked.solved, bore, notch)
    identity = _identify(drilling, plan)
    strips = lay_strips(worked.solved, bore)
    answer = answer_print(
        page,
        "prints/strips.html",
        f"strips-{drilling.id}",
        is_pdf and reading.is_usable,
        paper,
        drilling=drilling,
        plan=plan,
        worked=worked,
        bore=bore,
        bar=bar,
        reading=reading,
        scale=scale,
        strips=strip_pictures.draw_strips(strips, scale, identity, _note_lengths(worked.solved)),
        disc=disc and strip_pictures.draw_disc(disc, scale, identity),
        code=make_qr_code(page, f"/drillings/{drilling.id}"),
        **find_warnings(page, drilling, plan, worked),
    )
    answer.status_code = 200 if reading.is_usable else 422
    return answer


@router.get("/drillings/{drilling_id}/strips")
def show_strips(page: PageDep, drilling_id: RecordId, bar: Bar = "") -> Response:
    return _render(page, drilling_id, is_pdf=False, bar=bar)


@router.get("/drillings/{drilling_id}/strips.pdf")
def download_strips(page: PageDep, drilling_id: RecordId, bar: Bar = "", paper: Paper = "A4") -> Response:
    return _render(page, drilling_id, is_pdf=True, bar=bar, paper=paper)
