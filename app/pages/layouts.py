"""The layout of a ball: chosen, read back, drawn, marked by a list, compared with another."""

from collections.abc import Mapping
from typing import Annotated
from urllib.parse import urlencode

from fastapi import Query, Response

from app.errors import FieldError, InvalidError, NotFoundError, ShopError
from app.models import AxisPoint, Layout
from app.pages import layout_comparisons, layout_views
from app.pages.admission import PageDep, PageRouter, Posted, RecordId
from app.pages.formats import format_local_day
from app.pages.render import Page, Shown
from app.schemas.forms import read_id
from app.schemas.layout_readings import PlacesForm
from app.schemas.layouts import FavouriteForm, LayoutDroppingForm, LayoutForm, LayoutTakingForm
from app.schemas.taken_back import TakingOffForm
from app.services import (
    bench,
    bowlers,
    changes,
    layout_balances,
    layout_changes,
    layout_choices,
    layouts,
)
from app.services.layout_choices import NUMBERS, Choices
from app.services.layout_work_outs import OnBall, WorkedLayout, work_out_layout

router = PageRouter()
_NOTHING: Shown = {
    "stale": (),
    "worked": None,
    "picture": None,
    "answer": None,
    "arcs": [],
    "steps": [],
    "grip_words": "",
}


def _fill(of: Choices, values: Mapping[str, str]) -> dict[str, str]:
    """The form: a favourite that was tapped, what was typed, else the layout that counts."""
    favourite = next((f for f in of.favourites if f.id == read_id(values.get("favourite_id", ""))), None)
    if favourite:
        point = next((p for p in of.points if p.hand == favourite.hand), None)
        return layout_choices.list_texts(favourite) | ({"axis_point_id": str(point.id)} if point else {})
    if any(name in values for name in NUMBERS):
        return dict(values)
    current = of.current
    if current:
        kept = {"axis_point_id": str(current.axis_point_id), "note": current.note}
        is_of_marks = current.ball_marks_id == (of.marks.id if of.marks else None)  # marks read anew settle it
        misfit = current.typed.get("misfit", "") if is_of_marks else ""
        return layout_choices.list_texts(current) | kept | {"misfit": misfit}
    return dict(values)


def _load(page: Page, ball_id: int, values: Mapping[str, str]) -> Shown:
    of = layout_choices.load(page.session, ball_id)
    filled = _fill(of, values)
    point = of.find_point(read_id(filled.get("axis_point_id", "")))
    current = of.current
    is_as_saved = current is not None and _is_same(filled, current) and not filled.get("anew")
    return {
        "ball": of.ball,
        "of": of,
        "point": point,
        "values": filled | ({"axis_point_id": str(point.id)} if point else {}),
        "is_as_saved": is_as_saved,
        "version": of.version,
        "offered": _list_offered(of, point),
        "anew": f"/balls/{ball_id}/layout?{urlencode({**_pick_texts(current), 'anew': 'true'})}" if current else "",
        "taking": _find_taking(page, of),
        "held": _find_held(page, of),
        "is_fragment": page.is_fragment,
        "history": [(saved, changes.list_record_lines(page.session, saved)) for saved in of.saved],
        "comparable": _list_comparable(of),
        **_work_out(page, of, point, filled, current if is_as_saved else None),
    }


def _find_taking(page: Page, of: Choices) -> Shown | None:
    """The drilling that stays on a layout although another was chosen since, and why it cannot be put on that one."""
    if of.drilling is None or of.since is None:
        return None
    drilling = bench.get_drilling(page.session, of.drilling.id)
    return {"drilling": drilling, "obstacle": layout_changes.find_obstacle(page.session, drilling, of.since)}


def _find_held(page: Page, of: Choices) -> dict[int, bool]:
    """The layouts in use, and whether the ball is cut on each."""
    held = [(saved, layout_changes.find_drilling(page.session, saved)) for saved in of.saved if _may_be_used(of, saved)]
    return {saved.id: layout_changes.is_cut(drilling) for saved, drilling in held if drilling}


def _may_be_used(of: Choices, saved: Layout) -> bool:
    return not saved.dropped_at and (saved is of.used or saved.drilling_id is not None)


def _list_offered(of: Choices, point: AxisPoint | None) -> list[tuple[int, str]]:
    """The axis points to choose from, and the one shown although it does not hold any more."""
    options: list[tuple[int, str]] = layout_views.list_point_options(of.points)
    if point is None or point in of.points:
        return options
    (number, words), *_ = layout_views.list_point_options([point])
    return [*options, (number, words if point.taken_back_at else f"a former owner’s: {words}")]


def _pick_texts(saved: Layout) -> dict[str, str]:
    return layout_choices.list_texts(saved) | {"axis_point_id": str(saved.axis_point_id)}


def _is_same(filled: Mapping[str, str], saved: Layout) -> bool:
    return all(filled.get(name, "") == text for name, text in _pick_texts(saved).items())


def _work_out(
    page: Page, of: Choices, point: AxisPoint | None, filled: Mapping[str, str], saved: Layout | None
) -> Shown:
    """The layout as typed, or what is wrong with it; an empty form is not refused."""
    if point is None or not any(filled.get(name) for name in NUMBERS):
        return _NOTHING | {"refusal": None, "refused_fields": {}}
    on = layout_choices.stand_on(page.session, of, point, saved.marks if saved else None)
    try:
        worked = work_out_layout(saved or layout_choices.read_numbers(filled), on)
    except InvalidError as error:
        refusal = next(iter(error.fields.values()), FieldError(error.message))
        return _NOTHING | {"refusal": refusal, "refused_fields": error.fields}
    return layout_views.show_worked(worked, on) | {"refusal": None, "refused_fields": {}}


def _list_comparable(of: Choices) -> list[tuple[str, str]]:
    """What may be compared: (name in an address, words)."""
    saved = [(f"layout-{one.id}", f"{layouts.describe(one)}, {format_local_day(one.chosen_at)}") for one in of.saved]
    liked = [(f"favourite-{one.id}", f"{one.label}: {layouts.describe(one)}") for one in of.favourites]
    return [*saved, *liked]


@router.get("/balls/{ball_id}/layout")
def show_layout(page: PageDep, ball_id: RecordId) -> Response:
    values = {name: value[:200] for name, value in page.request.query_params.items()}
    context = _load(page, ball_id, values)
    return page.show("layouts/show.html", "worked" if page.is_fragment else "", **context)


@router.get("/balls/{ball_id}/layout/reading")
def show_reading(page: PageDep, ball_id: RecordId) -> Response:
    """The three numbers of a ball whose pin and mass mark were found at two places."""
    typed = {name: value[:200] for name, value in page.request.query_params.items()}
    of = layout_choices.load(page.session, ball_id)
    try:
        read = layout_choices.read_back(of, PlacesForm.read(typed))
    except InvalidError as error:
        return page.show_refused(error, "layouts/show.html", typed, lambda: _load(page, ball_id, {}), "reading")
    context = _load(page, ball_id, read.texts | {"note": layout_views.note_reading(read, of.mark_name)})
    misfit = layout_views.tell_misfit(read.misfit_in, of.mark_name, read.is_arc_assumed)
    return page.show("layouts/show.html", **context, read=read, misfit=misfit, places=typed)


@router.post("/balls/{ball_id}/layouts")
def choose_layout(page: PageDep, ball_id: RecordId, posted: Posted) -> Response:
    try:
        layout_choices.choose(page.session, ball_id, page.read(LayoutForm, posted))
    except ShopError as error:
        return page.show_refused(error, "layouts/show.html", posted, lambda: _load(page, ball_id, posted))
    return page.redirect(f"/balls/{ball_id}/layout")


@router.post("/layouts/{layout_id}/dropping")
def drop_layout(page: PageDep, layout_id: RecordId, posted: Posted) -> Response:
    ball_id = layouts.get_layout(page.session, layout_id).ball_id
    try:
        layout_changes.drop(page.session, layout_id, page.read(LayoutDroppingForm, posted))
    except ShopError as error:
        shown = f"drop-{layout_id}"
        return page.show_refused(error, "layouts/show.html", posted, lambda: _load(page, ball_id, {}), shown)
    return page.redirect(f"/balls/{ball_id}/layout")


@router.post("/drillings/{drilling_id}/layout")
def take_layout(page: PageDep, drilling_id: RecordId, posted: Posted) -> Response:
    """Puts a drilling that is not cut yet on the layout chosen since."""
    ball_id = bench.get_drilling(page.session, drilling_id).ball_id
    try:
        layout_changes.take(page.session, drilling_id, page.read(LayoutTakingForm, posted))
    except ShopError as error:
        return page.show_refused(error, "layouts/show.html", posted, lambda: _load(page, ball_id, {}), "taking")
    return page.redirect(f"/balls/{ball_id}/layout")


@router.post("/layouts/{layout_id}/favourite")
def keep_favourite(page: PageDep, layout_id: RecordId, posted: Posted) -> Response:
    """Keeps the numbers of a layout as a favourite of its bowler."""
    of = layouts.get_layout(page.session, layout_id)
    ball_id, texts = of.ball_id, layout_choices.list_texts(of) | {"hand": of.hand}
    try:
        bowler = bowlers.get_bowler(page.session, of.ball.bowler_id)
        layouts.add_favourite(page.session, bowler, page.read(FavouriteForm, {**posted, **texts}))
    except ShopError as error:
        shown = f"keep-{layout_id}"
        return page.show_refused(error, "layouts/show.html", posted, lambda: _load(page, ball_id, {}), shown)
    return page.redirect(f"/balls/{ball_id}/layout")


@router.post("/favourite-layouts/{favourite_id}/removal")
def remove_favourite(page: PageDep, favourite_id: RecordId, posted: Posted) -> Response:
    """Takes a favourite off its bowler's list; back to the ball that it was seen at."""
    form = page.read(TakingOffForm, posted)
    removed = layouts.remove_favourite(page.session, form.who, favourite_id)
    seen_at = f"/balls/{form.ball_id}/layout" if form.ball_id else f"/bowlers/{removed.bowler_id}"
    return page.redirect(seen_at)


# Comparison -----------------------------------------------------------------------------------------------------------

Named = Annotated[str, Query(max_length=40)]


@router.get("/balls/{ball_id}/layout/comparison")
def compare_layouts(page: PageDep, ball_id: RecordId, one: Named, other: Named) -> Response:
    """Two layouts of a ball side by side: saved ones, favourites, or `typed`."""
    of = layout_choices.load(page.session, ball_id)
    typed = {name: page.request.query_params.get(name, "")[:200] for name in (*NUMBERS, "axis_point_id")}
    sides = [_find_side(page, of, name, typed) for name in (one, other)]
    drawn = [(words, worked, layout_views.draw_worked(worked, on)) for words, worked, on in sides]
    lines = layout_comparisons.compare(sides[0][1], sides[1][1])
    told = layout_balances.predict_each(page.session, of, [(worked, on) for _, worked, on in sides])
    balance_lines = layout_comparisons.compare_balances(told)
    return page.show(
        "layouts/comparison.html",
        ball=of.ball,
        drilling=of.drilling,
        sides=drawn,
        lines=lines,
        balance_lines=balance_lines,
        problems=list(dict.fromkeys(one.problem for one in told if one.problem)),
        is_side_assumed=any(one.is_side_assumed for one in told),
    )


def _find_side(page: Page, of: Choices, name: str, typed: Mapping[str, str]) -> tuple[str, WorkedLayout, OnBall]:
    """Its words, the layout worked out, and what on; raises NotFoundError, or InvalidError for what cannot be built."""
    saved = next((one for one in of.saved if name == f"layout-{one.id}"), None)
    if saved:
        on = layout_choices.stand_on(page.session, of, saved.axis_point, saved.marks)
        return f"{layouts.describe(saved)}, {format_local_day(saved.chosen_at)}", work_out_layout(saved, on), on
    favourite = next((one for one in of.favourites if name == f"favourite-{one.id}"), None)
    if favourite:
        point = next((p for p in of.points if p.hand == favourite.hand), None)
    else:
        point = of.find_point(read_id(typed["axis_point_id"]))
    if point is None or (favourite is None and name != "typed"):
        raise NotFoundError("There is no such layout, or no axis point to lay it out from.")
    on = layout_choices.stand_on(page.session, of, point)
    numbers = favourite or layout_choices.read_numbers(typed)
    return favourite.label if favourite else "As typed", work_out_layout(numbers, on), on
