from typing import Any

from fastapi import Response

from app.closed_sets import Hand
from app.errors import FieldError, InvalidError, ShopError
from app.measures.wording import exact
from app.models import Fit
from app.pages import overlays, pictures
from app.pages.admission import PageDep, PageRouter, Posted, QueryId, RecordId
from app.pages.photos import load_photos
from app.pages.render import Page
from app.schemas.fits import FitForm, FitSpecification, InForceForm, RevisionForm, TransferForm
from app.schemas.forms import read_id
from app.schemas.taken_back import TakingBackForm
from app.services import (
    bowlers,
    changes,
    differences,
    fit_texts,
    fits,
    grips,
    paper_checks,
    sheet_rows,
    systems,
    taken_back,
    transfers,
)

router = PageRouter()

_FIRST = {
    "grip_holes": "three", "style": "fingertip", "reason": "first fit", "middle_depth": "1", "ring_depth": "1",
}  # fmt: skip
FIRST_FINGER = "middle"  # which span a pair of spans names first: shown in the field's label


def _load_form(page: Page, bowler_id: int, fit: Fit | None, hand: str = "", is_empty: bool = False) -> dict[str, Any]:
    """The form of a draft, or of a new fit: one that revises the fit in force of its hand begins with its values."""
    bowler = bowlers.get_bowler(page.session, bowler_id)
    hand = fit.hand if fit else hand or bowler.hand
    revised = _find_revised(page, fit, bowler_id, hand)
    values = {"hand": hand, **_FIRST}
    if fit:
        values = fit_texts.list_texts(fit)
    elif revised:
        whole = fit_texts.list_texts(revised)
        kept = (
            ("style", "grip_holes", "span_edges", "bridge_edges", "system_id", "hand_notes", "clinician_notes")
            if is_empty
            else tuple(whole)
        )
        values = {name: whole[name] for name in kept} | {"hand": hand, "reason": ""}
    return {
        "bowler": bowler,
        "fit": fit,
        "revised": revised,
        "is_empty": is_empty,
        "other_hand": "left" if hand == "right" else "right",
        "values": values,
        "version": fit.version if fit else "",
        "systems": systems.list_systems(page.session, "thumb"),
        "inserts": systems.list_systems(page.session, "finger"),
        "first_finger": FIRST_FINGER,
        **_work_out_typed(page, values, revised),
    }


def _find_revised(page: Page, fit: Fit | None, bowler_id: int, hand: str) -> Fit | None:
    """Returns the fit that this form revises."""
    if fit is None:
        return fit_texts.find_revised(page.session, bowler_id, hand)
    return fits.get_fit(page.session, fit.revised_from_id) if fit.revised_from_id else None


def _read_form(page: Page, posted: dict[str, str], fit: Fit | None, revised: Fit | None) -> FitForm:
    form = page.read(FitForm, fit_texts.repeat_same(posted, revised) | {"first_finger": FIRST_FINGER})
    fit_texts.require_same_edges(posted, revised)
    for before in (fit, revised):
        fit_texts.require_own_spans(posted, before)
    return form


def _work_out_typed(page: Page, values: dict[str, str], revised: Fit | None) -> dict[str, Any]:
    """Solves the typed fit, or returns the refusal, which an untouched form has not; stores nothing."""
    if not values.get("spans"):
        return {"solved": None, "refusal": None}
    try:
        whole = fit_texts.repeat_same({**values, "reason": "-"}, revised)
        form = FitSpecification.read({**whole, "first_finger": FIRST_FINGER})
        fit_texts.require_own_spans(values, revised)
        return {"solved": fits.solve_typed(page.session, form), "refusal": None}
    except InvalidError as error:
        refusal = next(iter(error.fields.items()), ("", FieldError(error.message)))
        return {"solved": None, "refusal": refusal}


def _add_picture(context: dict[str, Any]) -> dict[str, Any]:
    solved = context["solved"]
    return context | {"picture": pictures.draw_grip(solved) if solved else None}


@router.get("/bowlers/{bowler_id}/fits/new")
def show_new_fit(page: PageDep, bowler_id: RecordId, hand: Hand | None = None, empty: bool = False) -> Response:
    """A new fit revises the one in force of its hand; a hand with a draft goes on with that."""
    context = _load_form(page, bowler_id, None, hand or "", empty)
    draft = fits.find_draft(page.session, bowler_id, context["values"]["hand"])
    if draft:
        return page.redirect(f"/fits/{draft.id}/edit")
    return page.show("fits/form.html", **_add_picture(context))


@router.post("/bowlers/{bowler_id}/fits")
def add_fit(page: PageDep, bowler_id: RecordId, posted: Posted) -> Response:
    try:
        revised = fit_texts.find_revised(page.session, bowler_id, posted.get("hand", ""))
        form = _read_form(page, posted, None, revised)
        made = fits.add_draft(page.session, bowlers.get_bowler(page.session, bowler_id), form)
    except ShopError as error:
        return page.show_refused(error, "fits/form.html", posted, lambda: _load_again(page, bowler_id, None, posted))
    return page.redirect(f"/fits/{made.id}")


def _load_again(page: Page, bowler_id: int, fit: Fit | None, posted: dict[str, str]) -> dict[str, Any]:
    made = _load_form(page, bowler_id, fit, posted.get("hand", ""))
    return _add_picture(made | _work_out_typed(page, posted, made["revised"]))


@router.get("/fits/sketch")
def show_sketch(page: PageDep) -> Response:
    """The picture and the spans of a fit while it is being typed."""
    values = {name: value[:200] for name, value in page.request.query_params.items()}
    revised = fits.find_fit(page.session, read_id(values.get("revises", "")))
    return page.show("fits/form.html", "sketch", **_add_picture(_work_out_typed(page, values, revised)))


def _load_card(page: Page, fit_id: int) -> dict[str, Any]:
    fit = fits.get_fit(page.session, fit_id)
    solved = grips.solve(fit, fit.system) if grips.can_solve(fit) else None
    notch = fit.system.notch_deg if fit.system else None
    return {
        "fit": fit,
        "others": [
            f for f in fits.list_of_bowler(page.session, fit.bowler_id) if f.hand == fit.hand and f.id != fit.id
        ],
        "gaps": grips.list_missing(fit),
        "unknown": grips.list_unknown(fit),
        "solved": solved,
        "picture": pictures.draw_grip(solved, notch) if solved else None,
        "digits": fit.digits,
        "depths": grips.read_hole_depths(fit),
        "is_sleeve_unknown": grips.is_sleeve_unknown(fit.system),
        "shown": load_photos(page, fit),
        "card": paper_checks.find_doubt(page.session, fit),
        "history": changes.list_record_lines(page.session, fit),
        "origin": sheet_rows.find_origin(page.session, fit_id),
        "version": fit.version,
    }


@router.get("/fits/{fit_id}")
def show_fit(page: PageDep, fit_id: RecordId) -> Response:
    return page.show("fits/show.html", **_load_card(page, fit_id))


@router.get("/fits/{fit_id}/edit")
def show_edit_form(page: PageDep, fit_id: RecordId) -> Response:
    fit = fits.get_fit(page.session, fit_id)
    if fit.state != "draft":
        return page.redirect(f"/fits/{fit.id}")
    return page.show("fits/form.html", **_add_picture(_load_form(page, fit.bowler_id, fit)))


@router.post("/fits/{fit_id}")
def edit_fit(page: PageDep, fit_id: RecordId, posted: Posted) -> Response:
    try:
        fit = fits.get_fit(page.session, fit_id)
        fits.edit(page.session, fit_id, _read_form(page, posted, fit, _find_revised(page, fit, 0, "")))
    except ShopError as error:
        return page.show_refused(error, "fits/form.html", posted, lambda: _load_again_of(page, fit_id, posted))
    return page.redirect(f"/fits/{fit_id}")


def _load_again_of(page: Page, fit_id: int, posted: dict[str, str]) -> dict[str, Any]:
    fit = fits.get_fit(page.session, fit_id)
    return _load_again(page, fit.bowler_id, fit, posted)


@router.post("/fits/{fit_id}/in-force")
def put_in_force(page: PageDep, fit_id: RecordId, posted: Posted) -> Response:
    try:
        fits.put_in_force(page.session, fit_id, page.read(InForceForm, posted))
    except ShopError as error:
        return page.show_refused(error, "fits/show.html", posted, lambda: _load_card(page, fit_id))
    return page.redirect(f"/fits/{fit_id}")


@router.post("/fits/{fit_id}/discarding")
def discard(page: PageDep, fit_id: RecordId, posted: Posted) -> Response:
    return _take_back(page, fit_id, posted, "discarding")


@router.post("/fits/{fit_id}/discarding-removal")
def restore(page: PageDep, fit_id: RecordId, posted: Posted) -> Response:
    return _take_back(page, fit_id, posted, "discarding-removal")


def _take_back(page: Page, fit_id: int, posted: dict[str, str], act: str) -> Response:
    take = taken_back.discard_fit if act == "discarding" else taken_back.restore_fit
    try:
        take(page.session, fit_id, page.read(TakingBackForm, posted))
    except ShopError as error:
        return page.show_refused(error, "fits/show.html", posted, lambda: _load_card(page, fit_id), act)
    return page.redirect(f"/fits/{fit_id}")


@router.post("/fits/{fit_id}/revisions")
def revise(page: PageDep, fit_id: RecordId, posted: Posted) -> Response:
    try:
        made = fits.revise(page.session, fit_id, page.read(RevisionForm, posted))
    except ShopError as error:
        return page.show_refused(error, "fits/show.html", posted, lambda: _load_card(page, fit_id))
    return page.redirect(f"/fits/{made.id}/edit")


@router.get("/fits/{fit_id}/transfer")
def show_transfer(page: PageDep, fit_id: RecordId) -> Response:
    """The same finished fit on other hardware: what the cut numbers become, and what moved."""
    fit = fits.get_fit(page.session, fit_id)
    values = {name: value[:200] for name, value in page.request.query_params.items()}
    context: dict[str, Any] = {"fit": fit, "values": values or _list_hardware(fit), "errors": {}, "transfer": None}
    context["systems"] = systems.list_systems(page.session, "thumb")
    try:
        context["transfer"] = transfers.compare_hardware(page.session, fit, TransferForm.read(context["values"]))
        context["drawn"] = overlays.draw_overlay(context["transfer"].before, context["transfer"].after)
    except InvalidError as error:
        context |= {"errors": error.fields, "message": error.message}
    if page.is_fragment:
        return page.show("fits/transfer.html", "moved", **context)
    return page.show("fits/transfer.html", status=422 if context["errors"] else 200, **context)


def _list_hardware(fit: Fit) -> dict[str, str]:
    """What a fit stands on now, as the fields of a transfer."""
    cuts = {f"{d}_cut": fit.hole(d).cut_in or fit.hole(d).hole_in for d in fit.fingers}
    return {"system_id": str(fit.system_id or "")} | {n: exact(v) for n, v in cuts.items() if v is not None}


@router.get("/fits/{fit_id}/comparison")
def show_comparison(page: PageDep, fit_id: RecordId, other: QueryId) -> Response:
    """Two revisions over each other, the older dashed; what differs first."""
    pair = sorted((fits.get_fit(page.session, fit_id), fits.get_fit(page.session, other)), key=lambda f: f.revision)
    solved = [grips.solve(fit, fit.system) for fit in pair if grips.can_solve(fit)]
    drawn = overlays.draw_overlay(*solved) if len(solved) == len(pair) else None
    return page.show(
        "fits/comparison.html", old=pair[0], new=pair[1], lines=differences.compare_fits(*pair), drawn=drawn
    )
