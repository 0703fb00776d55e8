from collections.abc import Sequence
from fractions import Fraction
from typing import Any

from fastapi import Response

from app.calculation.tolerances import judge_rim
from app.errors import ConflictError, InvalidError, ShopError
from app.measures.lengths import read_length
from app.measures.pitches import Pitch, read_pitch
from app.measures.reading import CIRCUMFERENCE
from app.models import Inner, TrialFit
from app.pages import charts
from app.pages.admission import PageDep, PageRouter, Posted, QueryId, RecordId
from app.pages.photos import load_photos
from app.pages.render import Page
from app.schemas.balls import RetirementForm
from app.schemas.forms import read_id
from app.schemas.inners import (
    CompletionForm,
    InnerFindingForm,
    InnerForm,
    LooseForm,
    LooseHeights,
    RimForm,
    TrialDepthForm,
    TrialFitForm,
)
from app.services import (
    balls,
    bowlers,
    changes,
    drillings,
    inner_grids,
    inner_heights,
    inners,
    loose_inners,
    owner_changes,
    shop_limits,
    trial_fits,
    visitors,
)

router = PageRouter()


@router.get("/bowlers/{bowler_id}/inners/new")
def show_new_inner(page: PageDep, bowler_id: RecordId) -> Response:
    return page.show("inners/form.html", **_load_form(page, bowler_id))


def _load_form(page: Page, bowler_id: int) -> dict[str, Any]:
    bowler = bowlers.get_bowler(page.session, bowler_id)
    owned = balls.list_of_bowler(page.session, bowler.id)
    drilled = drillings.pick_in_force(drillings.list_of_balls(page.session, [b.id for b in owned]))
    labels = {b.id: b.label for b in owned}
    bores = [(d.bore, labels[d.ball_id], d.system) for d in drilled.values() if d.bore and d.system]
    hands = {bore.hand for bore, _, _ in bores}
    return {
        "bowler": bowler,
        "bores": bores,
        "hand": hands.pop() if len(hands) == 1 else "",  # of two hands, sides are read back as left and right
        "values": {"tilt": "0"},
    }


@router.post("/bowlers/{bowler_id}/inners")
def add_inner(page: PageDep, bowler_id: RecordId, posted: Posted) -> Response:
    try:
        bowler = bowlers.get_bowler(page.session, bowler_id)
        added = inners.add(
            page.session, bowler, page.read(InnerForm, posted | {"hand": _find_bored_hand(page, posted)})
        )
    except ShopError as error:
        return page.show_refused(error, "inners/form.html", posted, lambda: _load_form(page, bowler_id))
    return page.redirect(f"/inners/{added.id}")


def _find_bored_hand(page: Page, posted: dict[str, str]) -> str:
    """Returns the hand of the bore an inner was trimmed in: its tilt's “under” and “away” are read for that hand."""
    bore_id = read_id(posted.get("trimmed_in_id", ""))
    return "" if bore_id is None else inners.find_hand_of_bore(page.session, bore_id)


def _load_card(page: Page, inner_id: int, values: dict[str, str], drilling_id: int | None = None) -> dict[str, Any]:
    inner = inners.get_inner(page.session, inner_id)
    pitch, circumference, errors = _read_question(values, inner.trimmed_in.hand)
    drilling = drillings.get_drilling(page.session, drilling_id) if drilling_id else None
    limits = shop_limits.load_limits(page.session)
    if drilling:
        prediction = visitors.predict_in_ball(page.session, inner, drilling, limits)
    else:
        prediction = visitors.predict_in_our_bore(page.session, inner, pitch, circumference, limits)
    tried = trial_fits.list_trial_fits(page.session, inner.id)
    rim, diagnosis = None, None
    if any(values.get(name) for name in ("rim_12", "rim_3", "rim_6", "rim_9")):
        try:
            read = RimForm.read(values)
            diagnosis = visitors.diagnose(page.session, prediction, inner.counted_outside_in, read)
        except InvalidError as error:
            errors |= error.fields
    if prediction.in_bore:
        rim = charts.draw_sitting(inner, prediction.in_bore, limits)
    return {
        "inner": inner,
        "prediction": prediction,
        "in_ball": drilling.ball if drilling else None,
        "drilling_id": drilling_id,
        "rim": rim,
        "cards": inner_grids.list_cards(page.session, inner, limits),
        "needs_trial": prediction.in_bore is None or prediction.in_bore.verdict == "measure",
        "diagnosis": diagnosis,
        "trial_fits": tried,
        **_estimate(page, inner, tried),
        "in_drillings": inners.list_drillings(page.session, inner.id),
        "open": inners.list_open(inner),
        **_load_found(page, inner.id),
        "shown": load_photos(page, inner),
        "owners": owner_changes.list_of_thing(page.session, inner),
        "history": changes.list_record_lines(page.session, inner),
        "version": inner.version,
        "values": values,
        "errors": errors,
    }


def _load_found(page: Page, inner_id: int) -> dict[str, object]:
    found = inners.list_findings(page.session, inner_id)
    holes = [one for one in found if one.what == "thumb_hole"]
    return {"findings": holes, "rim_heights": inner_heights.pick_brought(found)}


def _estimate(page: Page, of: Inner, tried: Sequence[TrialFit]) -> dict[str, Any]:
    """What the trial fits so far give, what one more would bring, whether that is needed, and what is assumed."""
    estimate, assumed = trial_fits.estimate_trial_depth(page.session, tried), trial_fits.describe_assumed_pitch(of)
    if estimate is None:
        return {"estimate": None, "assumed_pitch": assumed}
    need = float(shop_limits.load_limits(page.session)["lip"].value_in)
    extra = trial_fits.find_pitch_doubt_in(of)
    half = (estimate.interval_in[1] - estimate.interval_in[0]) / 2 + extra
    after = trial_fits.predict_after_one_more(page.session, estimate) + extra
    return {
        "assumed_pitch": assumed,
        "interval_in": (estimate.interval_in[0] - extra, estimate.interval_in[1] + extra),
        "estimate": estimate,
        "half_in": half,
        "one_more_in": after,
        "need_in": need,
        "is_enough": not assumed and judge_rim(0, 0, half, need) == "flush",
    }


def _read_question(values: dict[str, str], hand: str) -> tuple[Pitch | None, Fraction | None, dict[str, Any]]:
    """The pitch and ball the page asks about, with an error at the field that cannot be read."""
    errors: dict[str, Any] = {}
    pitch = read_pitch(values.get("pitch", ""), hand, "thumb")
    circumference = read_length(values.get("circumference", ""), CIRCUMFERENCE)
    for name, reading in (("pitch", pitch), ("circumference", circumference)):
        if not reading.is_usable:
            errors[name] = InvalidError.at(name, reading.message, *reading.choices).fields[name]
        elif reading.state == "unknown":
            message = "Cannot say over an unknown one. Write it, or leave this empty for where it was trimmed."
            errors[name] = InvalidError.at(name, message).fields[name]
    return pitch.value, circumference.value, errors


@router.get("/inners/{inner_id}")
def show_inner(page: PageDep, inner_id: RecordId, drilling: QueryId | None = None) -> Response:
    """An inner in its own frame, and how it would sit in a bore of ours; asking for another pitch redraws it."""
    values = {name: value[:200] for name, value in page.request.query_params.items()}
    context = _load_card(page, inner_id, values, drilling)
    if page.is_fragment:
        return page.show("inners/show.html", "sit", **context)
    status = 422 if context["errors"] else 200
    return page.show("inners/show.html", status=status, **context)


@router.post("/inners/{inner_id}/trial-fits")
def add_trial_fit(page: PageDep, inner_id: RecordId, posted: Posted) -> Response:
    try:
        trial_fits.add_trial_fit(page.session, inner_id, page.read(TrialFitForm, posted))
    except ShopError as error:
        return page.show_refused(error, "inners/show.html", posted, lambda: _load_card(page, inner_id, {}), "trial")
    return page.redirect(f"/inners/{inner_id}#trial")


@router.post("/inners/{inner_id}/depth")
def save_trial_depth(page: PageDep, inner_id: RecordId, posted: Posted) -> Response:
    try:
        trial_fits.save_trial_depth(page.session, inner_id, page.read(TrialDepthForm, posted))
    except ConflictError as error:
        return page.show_refused(error, "inners/show.html", posted, lambda: _load_card(page, inner_id, {}), "depth")
    return page.redirect(f"/inners/{inner_id}#sit")


@router.get("/inners/{inner_id}/loose")
def show_loose(page: PageDep, inner_id: RecordId) -> Response:
    """What four heights of a loose inner tell of the bore it was trimmed in; nothing is stored."""
    values = {name: value[:200] for name, value in page.request.query_params.items()}
    return page.show("inners/loose.html", **_load_loose(page, inner_id, values))


def _load_loose(page: Page, inner_id: int, values: dict[str, str]) -> dict[str, Any]:
    inner = inners.get_inner(page.session, inner_id)
    context: dict[str, Any] = {"inner": inner, "found": None, "values": values, "errors": {}}
    if any(values.get(name) for name in ("height_12", "height_3", "height_6", "height_9")):
        try:
            context["found"] = loose_inners.read_loose(page.session, inner, LooseHeights.read(values))
        except InvalidError as error:
            context["errors"] = error.fields
    return context


@router.post("/inners/{inner_id}/loose")
def save_loose(page: PageDep, inner_id: RecordId, posted: Posted) -> Response:
    """Saves what was read off; or, asked only to work it out, shows it. That is posted too: an address keeps no PIN."""
    if posted.get("only") == "work_out":
        return page.show("inners/loose.html", **_load_loose(page, inner_id, posted))
    try:
        loose_inners.save_loose(page.session, inner_id, page.read(LooseForm, posted))
    except ShopError as error:
        return page.show_refused(error, "inners/loose.html", posted, lambda: _load_loose(page, inner_id, posted))
    return page.redirect(f"/inners/{inner_id}")


@router.post("/inners/{inner_id}/completion")
def complete_inner(page: PageDep, inner_id: RecordId, posted: Posted) -> Response:
    """Adds what was unknown, or never asked, of the inner and of the bore it was trimmed in."""
    try:
        hand = inners.get_inner(page.session, inner_id).trimmed_in.hand
        inners.complete(page.session, inner_id, page.read(CompletionForm, posted | {"hand": hand}))
    except ShopError as error:
        return page.show_refused(
            error, "inners/show.html", posted, lambda: _load_card(page, inner_id, {}), "completion"
        )
    return page.redirect(f"/inners/{inner_id}")


@router.post("/inners/{inner_id}/findings")
def add_finding(page: PageDep, inner_id: RecordId, posted: Posted) -> Response:
    try:
        inners.add_finding(page.session, inner_id, page.read(InnerFindingForm, posted))
    except ShopError as error:
        return page.show_refused(error, "inners/show.html", posted, lambda: _load_card(page, inner_id, {}), "findings")
    return page.redirect(f"/inners/{inner_id}")


@router.post("/inners/{inner_id}/retirement")
def retire(page: PageDep, inner_id: RecordId, posted: Posted) -> Response:
    inners.retire(page.session, inner_id, page.read(RetirementForm, posted))
    return page.redirect(f"/inners/{inner_id}")
