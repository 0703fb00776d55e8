"""Unknown, typed into every field of every form that allows it, stays unknown: stored, shown, exported, never green.

The fields are found in the forms. A new field is tried with the rest of its form; where neither its columns have its
name nor `COLUMNS` names them, or where a form has no scenario, a test fails and names it.
"""

import itertools
import re
from fractions import Fraction
from html import unescape

import pytest
from fastapi import FastAPI

from app.measures import lengths
from app.models import Ball, Bore, DepthObservation, Drilling
from app.schemas.identities import TokenForm
from app.services import tokens
from app.services.work_outs import work_out
from seed_demo.world import TWIST_LOCK
from tests.conftest import Client
from tests.pages.unknown_forms import BY_NAME, FIELDS, SCENARIOS, Saved, Typed, World, id_of, is_choice

SPELLINGS = sorted(lengths._UNKNOWN - {"unknown"})
GOOD, UNKNOWN = 'class="verdict good"', 'class="unknown"'

OVAL, PITCH = ("hole_in", "oval_in", "oval_deg"), ("forward_in", "right_in")
# (tag, columns) of a field whose columns do not have its name.
COLUMNS: dict[tuple[str, str], list[tuple[str, tuple[str, ...]]]] = {
    ("BallForm", "weight"): [("ball", ("weight_lb",))],
    ("PlanForm", "notch"): [("drilling", ("plan",))],
    ("FitForm", "spans"): [("fit", ("span_middle_in", "span_ring_in"))],
    ("FitForm", "thumb_hole"): [("thumb", OVAL)],
    ("FitForm", "thumb_offset"): [("thumb", ("offset_in",))],
    **{("FitForm", f"{d}_pitch"): [(d, PITCH)] for d in ("thumb", "middle", "ring")},
    **{("FitForm", f"{d}_{part}"): [(d, (f"{part}_in",))] for d in ("middle", "ring") for part in ("hole", "cut", "depth")},
    **{(form, "thumb_hole"): [("inner", OVAL)] for form in ("VisitorForm", "InnerForm", "CompletionForm")},
    **{(form, "tilt"): [("inner", PITCH)] for form in ("VisitorForm", "InnerForm", "CompletionForm")},
    **{(form, "bore_pitch"): [("bore", PITCH)] for form in ("VisitorForm", "CompletionForm")},
    ("VisitorForm", "circumference"): [("ball", ("circumference_in",)), ("bore", ("circumference_in",))],
    ("OldHoleForm", "size"): [("old hole", ("cut_in",))],
    ("OldHoleForm", "pitch"): [("old hole", PITCH)],
    ("DepthForm", "pitch"): [("observation", PITCH)],
    ("ScaleForm", "arm_doubt"): [("scale", ("arm_u_in",))],
    ("TickForm", "depth"): [("bore", ("met_depth_in",))],
    ("TickForm", "pitch"): [("bore_pitch", ("met_forward_in", "met_right_in"))],
}  # fmt: skip

OF_VISITORS = ("VisitorForm", "CompletionForm")
RIM = "verdict"  # of a rim, in `list_greens`
STRIP = "ready"  # the one answer of a page, in `list_greens`
NO_GREEN_OF: frozenset[str] = frozenset()
# What is derived from a field, where that is not everything on the derived pages.
DERIVED: dict[tuple[str, str], frozenset[str]] = {
    ("BallForm", "weight"): NO_GREEN_OF,
    ("BallForm", "holes"): frozenset({STRIP}),
    ("BallForm", "safe_depth"): frozenset({"Bore within the ball's safe depth", STRIP}),
    # a reading that was not taken decides nothing; the rim is foreseen from the bores
    **{(form, f"rim_{at}"): NO_GREEN_OF for form in ("DrilledForm", "TickForm") for at in (12, 3, 6, 9)},
    # how deep to drill a finger is chosen by the plan, which says ASSUMED
    ("FitForm", "middle_depth"): NO_GREEN_OF,
    ("FitForm", "ring_depth"): NO_GREEN_OF,
    # the rim does not hang on the hole inside the inner; what is felt is tried in test_what_the_thumb_feels
    **{(form, name): NO_GREEN_OF for form in ("VisitorForm", "CompletionForm") for name in ("thumb_hole", "tilt")},
    # the grip of a plan does not hang on the outside of an owned inner
    ("InnerForm", "outside"): frozenset({RIM, STRIP}),
    ("SystemForm", "sleeve_od"): frozenset({"Surface left between sleeve and fingers", "Surface left between thumb and fingers", STRIP}),
    ("SystemForm", "lock_depth"): frozenset({"Drill clears the slug and spares the lock", STRIP}),
    ("SystemForm", "inner_length"): frozenset({"Drill clears the slug and spares the lock", "Least wall of the inner", STRIP}),
    # of a finger's hardware; thumb hardware is refused without it
    ("SystemForm", "bore"): NO_GREEN_OF,
    # no check hangs on them; a notch decides with the bore that is turned by it
    ("SystemForm", "locks"): NO_GREEN_OF,
    ("SystemForm", "notch"): NO_GREEN_OF,
    ("SystemForm", "wide_tab"): NO_GREEN_OF,
}  # fmt: skip
# no green hangs on what is only recorded of marks, axis points and scales
DERIVED |= {
    (form, name): NO_GREEN_OF for form in ("AxisPointForm", "BallMarksForm", "ScaleForm") for name in FIELDS[form]
}
OLD_WALL = frozenset({"Wall, ring to the plug of the old finger hole", STRIP})
DERIVED |= {("OldHoleForm", name): OLD_WALL for name in ("size", "pitch", "depth")}
A_COUNT = "In stock at this size"  # follows from no measure


def list_greens(html: str) -> set[str]:
    """The first cells of the rows that are green; `verdict` for one outside a table, `ready` for a page's own answer.

    How an inner sits in its other balls is not looked at: the grid of a bowler's inners tells it, by the same service.
    """
    html = re.sub(r'<section id="every-ball">.*?</section>', "", html, flags=re.DOTALL)
    found = {STRIP} if 'class="strip good"' in html else set()
    for at in re.finditer(re.escape(GOOD), html):
        row = html.rfind("<tr", 0, at.start())
        is_in_row = row > html.rfind("</tr>", 0, at.start())
        found.add(unescape(re.sub(r"<[^>]+>", "", html[row : html.find("</th>", row)])).strip() if is_in_row else RIM)
    return found - {A_COUNT}


def base_of(form: str, name: str) -> Typed:
    base = SCENARIOS[form][1]
    return base | {"digit": "finger", "height_set_by": "by_hand"} if (form, name) == ("SystemForm", "bore") else base


def columns_of(form: str, name: str, saved: Saved) -> list[tuple[str, tuple[str, ...]]]:
    """Where a field is stored: as COLUMNS says, or in columns with its name; none for a rim, which has rows instead."""
    named = COLUMNS.get((form, name), [])
    if not named:
        columns = {tag: model.__table__.c.keys() for tag, (model, _) in saved.rows.items()}
        named = [
            (tag, (c,))
            for tag, own in columns.items()
            for c in (f"{name}_in", f"{name}_deg", f"{name}_oz", name)
            if c in own
        ]
    return named


def list_lost(world: World, saved: Saved, form: str, name: str) -> list[str]:
    """What is wrong with a field that has no column: the holes of a ball stand in what was typed of it."""
    if (form, name) != ("BallForm", "holes"):
        return [f"{name}: which columns?"]
    typed = world.exported()["ball", saved.rows["ball"][1]]["typed"]
    return [] if typed.get(name) == "unknown" else [f"{name}: not exported"]


def list_problems(world: World, form: str, spellings: Typed, known: str) -> list[str]:
    """Saves a form with these spellings in its fields, and tells what is not found unknown, or is green, and where."""
    names = list(spellings)
    save, base = SCENARIOS[form][0], base_of(form, names[0])
    choices = {n: "unknown" for n in names if is_choice(BY_NAME[form], n)}
    saved = save(world, base | spellings | choices)
    exported, wrong = world.exported(), []
    for name, spelling in spellings.items():
        columns = columns_of(form, name, saved)
        if name.startswith("rim_"):
            wrong += [
                f"{name}: stored"
                for (table, _), row in exported.items()
                if table == "measurement" and row["what"] == name and row["drilling_id"] == saved.rows["drilling"][1]
            ]
        elif not columns:
            wrong += list_lost(world, saved, form, name)
        wanted = {None, "unknown"} if name in choices else {None}
        for tag, own in columns:
            model, row_id = saved.rows[tag]
            row = exported[model.__tablename__, row_id]
            row = {"plan": row["plan"]["notch_deg"], "typed": row["plan"]["typed"]} if own == ("plan",) else row
            stored = world.read(model, row_id)
            held = [stored.plan.notch_deg] if own == ("plan",) else [getattr(stored, c) for c in own]
            wrong += [f"{name}: stored {v!r}" for v in held if v not in wanted]
            wrong += [f"{name}: exported {row[c]!r}" for c in own if row[c] not in wanted]
            if name not in choices and tag in {
                "bore",
                "inner",
                "ball",
                "system",
                "observation",
                "drilling",
                "fit",
                "old hole",
                "axis point",
                "marks",
                "scale",
            }:
                typed = row.get("typed", {}).get(name)
                wrong += [f"{name}: typed {typed!r} exported"] if typed != spelling else []
    shown = world.client.get(saved.page).text
    if shown.count(UNKNOWN) <= known.count(UNKNOWN):
        wrong.append(f"{names}: not shown as unknown on {saved.page}")
    barred = frozenset[str]().union(*(DERIVED.get((form, n), {"*"}) for n in names))
    for url in saved.derived:
        if "?drilling" in url and form in OF_VISITORS and set(names) <= {"outside", "depth", "datum"}:
            continue  # its own bore: it was trimmed flush there, however deep that is, and whatever its size
        if "?" not in url and form in OF_VISITORS and names == ["outside"]:
            continue  # at the pitch it was trimmed at its rim stands level, whatever its size
        greens = list_greens(world.client.get(url).text)
        wrong += [f"{names}: green {sorted(greens)} on {url}"] if (greens if "*" in barred else greens & barred) else []
    return wrong


@pytest.fixture
def world(client: Client, app: FastAPI, who: str) -> World:
    return World(client, app, who)


def test_every_form_with_such_a_field_is_tried() -> None:
    allowing = {form for form, names in FIELDS.items() if names}
    assert allowing == set(SCENARIOS)
    assert sum(map(len, FIELDS.values())) > 40


@pytest.mark.parametrize("form", SCENARIOS)
def test_unknown_stays_unknown(world: World, form: str) -> None:
    save, base = SCENARIOS[form]
    saved = save(world, base)
    known = world.client.get(saved.page).text
    greens = set().union(*(list_greens(world.client.get(url).text) for url in saved.derived))
    wrong = []
    for name in FIELDS[form]:
        barred = DERIVED.get((form, name), {"*"})
        assert not barred or (greens if "*" in barred else greens & barred), (name, greens)  # so that it can fail
        wrong += list_problems(world, form, {name: "unknown"}, known)
    assert wrong == []


@pytest.mark.parametrize("form", SCENARIOS)
def test_every_spelling_of_unknown_is_unknown(world: World, form: str) -> None:
    names = [n for n in FIELDS[form] if (form, n) not in {("SystemForm", "bore"), ("SystemForm", "sleeve_length")}]
    save, base = SCENARIOS[form]
    known = world.client.get(save(world, base).page).text
    for turn in (0, 2):  # all fields at once, each with another spelling
        spellings = dict(zip(names, itertools.cycle(SPELLINGS[turn:] + SPELLINGS[:turn]), strict=False))
        assert list_problems(world, form, spellings, known) == []


# Absent, zero and unknown -----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "tag", "zero", "words"),
    [
        ("bore_pitch", "bore", "0", "straight, or never asked"),
        ("notch", "bore", "6:00", "as ours, or never asked"),
        ("tilt", "inner", "0", "straight, or never asked"),
        ("circumference", "ball", "27", "ASSUMED"),
    ],
)
def test_absent_zero_and_unknown_are_three_things(world: World, name: str, tag: str, zero: str, words: str) -> None:
    save, base = SCENARIOS["VisitorForm"]
    saved = {typed: save(world, base | {name: typed}) for typed in ("", zero, "unknown")}
    exported = world.exported()
    column = columns_of("VisitorForm", name, saved[""])[0][1][0]
    rows = {typed: exported[made.rows[tag][0].__tablename__, made.rows[tag][1]] for typed, made in saved.items()}
    stored = {typed: (row[column], row["typed"].get(name)) for typed, row in rows.items()}
    assert len(set(stored.values())) == 3
    assert stored[""][0] == stored[zero][0]  # told apart by the text
    assert stored["unknown"] == (None, "unknown")
    page = "/balls/{}" if tag == "ball" else "/inners/{}"
    shown = {
        typed: world.client.get(page.format(made.rows[tag if tag == "ball" else "inner"][1])).text
        for typed, made in saved.items()
    }
    marked = f'<span class="warning">{words}</span>' if tag != "ball" else "in around <strong>ASSUMED</strong>"
    assert [marked in shown[typed] for typed in ("", zero, "unknown")] == [True, False, False]
    if name in {"bore_pitch", "notch"}:
        assert [GOOD in shown[typed] for typed in ("", zero, "unknown")] == [False, True, False]


@pytest.mark.parametrize(
    ("url", "typed"),
    [
        ("/balls/{ball}/drillings", {"fit_id": "1", "system_id": "1", "inner": "unknown"}),
        ("/balls/{ball}/drillings", {"fit_id": "1", "system_id": "1", "finger_depth": "?"}),
        ("/drillings/1/findings", {"what": "thumb_hole", "value": "unknown", "note": "sanded"}),
        ("/settings/tolerance", {"value": "unk", "source": "nobody"}),
        ("/shops/1/depths", {"system_id": "1", "depth": "not known", "datum": "collar", "obtained": "told", "observed_on": "2026-01-02"}),
        ("/systems", {"label": "Vague", "digit": "thumb", "bore": "unknown", "locks": "unknown", "height_set_by": "slug"}),
    ],
)  # fmt: skip
def test_what_is_chosen_or_found_cannot_be_unknown(world: World, url: str, typed: Typed) -> None:
    before = set(world.exported())
    answer = world.client.post(url.format(ball=4), {"version": "", "who": world.who} | typed)
    assert answer.status_code == 422
    assert set(world.exported()) == before


@pytest.mark.parametrize(
    "question",
    ["/fits/1/transfer?system_id=1&middle_cut=unknown", "/fits/1/transfer?system_id=1&circumference=%3F",
     "/inners/1?pitch=unknown", "/inners/1?circumference=unk"],
)  # fmt: skip
def test_a_question_over_an_unknown_is_not_answered_as_if_nothing_was_asked(world: World, question: str) -> None:
    assert world.client.get(question).status_code == 422


def test_a_drilling_in_a_ball_of_unknown_circumference_settles_once_the_ball_is_measured(world: World) -> None:
    verdicts = {}
    for around in ("27", "unknown"):
        ball = world.ball({"circumference": around})
        chosen = {"fit_id": "1", "system_id": "1", "bore_runs": "like_thumb", "reason": "tried"}
        made = id_of(world.post(f"/balls/{ball}/drillings", chosen))
        met = {"depth": "2 3/4", "datum": "collar", "version": world.version(Drilling, made)}
        world.post(f"/drillings/{made}/drilled", met)
        page = world.client.get(f"/drillings/{made}").text
        assert ("ASSUMED, its own is unknown" in page) == (around == "unknown")
        worked = work_out(world.read(Drilling, made).plan)
        read = {finger: f"{worked.predicted_in(finger):.4f}" for finger in ("middle", "ring")}
        world.post(f"/drillings/{made}/measurements", read | {"version": world.version(Drilling, made)})
        verdicts[around] = list_greens(world.client.get(f"/balls/{ball}").text)
    assert verdicts == {"27": {RIM}, "unknown": set()}
    bore = world.read(Drilling, made).bore_id
    assert world.read(Bore, bore).circumference_in is None
    world.post(f"/balls/{ball}", {"label": "Measured", "circumference": "26.9", "version": world.version(Ball, ball)})
    assert world.read(Bore, bore).circumference_in == Fraction("26.9")


@pytest.mark.parametrize(
    ("pitch", "assumed"),
    [("1/4 reverse", ""), ("", "never asked: straight, ASSUMED"), ("unknown", "every pitch up to 1/2")],
)
def test_a_trial_fit_says_what_it_assumed_and_is_enough_only_over_a_known_pitch(
    world: World, pitch: str, assumed: str
) -> None:
    save, base = SCENARIOS["VisitorForm"]
    inner = save(world, base | {"bore_pitch": pitch}).rows["inner"][1]
    for _ in range(4):
        world.post(f"/inners/{inner}/trial-fits", {"trial_depth": "2 3/4", "proud": "flush"})
    page = world.client.get(f"/inners/{inner}").text
    assert ("That is enough" in page) == (not assumed)
    assert not assumed or page.count(assumed) >= 5  # each trial's line of history, and the estimate
    world.post(f"/inners/{inner}/depth", {})
    seen = world.exported()["depth_observation", world.newest(DepthObservation)]
    assert seen["typed"].get("pitch") == {"": "straight, or never asked", "unknown": "unknown"}.get(pitch)
    assert (seen["forward_in"] is None) == (pitch == "unknown")


def test_an_observation_of_which_something_is_unknown_says_so_to_programs(world: World) -> None:
    system = id_of(world.post("/systems", TWIST_LOCK | {"label": "Another lock"}))
    told = SCENARIOS["DepthForm"][1] | {"system_id": str(system), "datum": "unknown", "resolution": "?"}
    world.post("/shops/1/depths", told)
    with world.app.state.sessions() as session, session.begin():
        form = TokenForm.read({"who": world.who, "label": "till", "scopes": "read", "shop_id": "1"})
        key = tokens.make_token(session, form, 1)[1]
    answer = world.client.get("/api/v1/shops/1/depths", headers={"Authorization": f"Bearer {key}"}).json()
    unknown = {one["system_id"]: one["unknown"] for one in answer}
    assert unknown == {1: [], system: ["what the depth was measured from", "the smallest division read"]}


def test_what_becomes_known_is_added_and_what_is_known_stays(world: World) -> None:
    save, base = SCENARIOS["VisitorForm"]
    inner = save(world, base | {"bore_pitch": "", "notch": "unknown"}).rows["inner"][1]
    url, page = f"/inners/{inner}/completion", f"/inners/{inner}"
    assert GOOD not in world.client.get(page).text
    refused = world.client.post(url, {"who": world.who, "version": "1", "tilt": "1/8 reverse"})
    assert (refused.status_code, "stays as it was built" in refused.text) == (422, True)
    world.post(url, {"version": "1", "bore_pitch": "0", "notch": "6:00", "note": "looked at the ball"})
    assert GOOD in world.client.get(page).text
    assert "looked at the ball" in world.client.get("/bowlers/9").text
    refused = world.client.post(url, {"who": world.who, "version": "1", "bore_pitch": "1/8 reverse"})
    assert refused.status_code == 422
