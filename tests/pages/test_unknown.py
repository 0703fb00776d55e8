"""Unknown, typed into every field of every form that allows it, stays unknown: stored, shown, exported, never green.

The fields are found in the forms. A new field is tried with the rest of its form; where neither its columns have its
name nor `COLUMNS` names them, or where a form has no scenario, a test fails and names it.
"""

import itertools
import re
from html import unescape

import pytest
from fastapi import FastAPI

from app.measures import lengths
from tests.conftest import Client
from tests.pages.unknown_forms import BY_NAME, ELSEWHERE, FIELDS, SCENARIOS, Saved, Typed, World, is_choice

SPELLINGS = sorted(lengths._UNKNOWN - {"unknown"})
GOOD, UNKNOWN = 'class="verdict good"', 'class="unknown"'

OVAL, PITCH = ("hole_in", "oval_in", "oval_deg"), ("forward_in", "right_in")
# (tag, columns) of a field whose columns do not have its name.
COLUMNS: dict[tuple[str, str], list[tuple[str, tuple[str, ...]]]] = {
    ("BallForm", "weight"): [("ball", ("weight_lb",))],
    ("PlanForm", "notch"): [("drilling", ("plan",))],
    ("FitForm", "spans"): [("fit", ("span_middle_in", "span_ring_in"))],
    ("FitForm", "thumb_hole"): [("thumb", OVAL)],
    **{("FitForm", f"{d}_pitch"): [(d, PITCH)] for d in ("thumb", "middle", "ring")},
    **{("FitForm", f"{d}_{part}"): [(d, (f"{part}_in",))] for d in ("middle", "ring") for part in ("hole", "cut", "depth")},
    **{(form, "thumb_hole"): [("inner", OVAL)] for form in ("VisitorForm", "InnerForm")},
    **{(form, "tilt"): [("inner", PITCH)] for form in ("VisitorForm", "InnerForm")},
    ("VisitorForm", "bore_pitch"): [("bore", PITCH)],
    ("VisitorForm", "circumference"): [("ball", ("circumference_in",)), ("bore", ("circumference_in",))],
    ("DepthForm", "pitch"): [("observation", PITCH)],
}  # fmt: skip

RIM = "verdict"  # of a rim, in `list_greens`
NO_GREEN_OF: frozenset[str] = frozenset()
# What is derived from a field, where that is not everything on the derived pages.
DERIVED: dict[tuple[str, str], frozenset[str]] = {
    ("BallForm", "weight"): NO_GREEN_OF,
    ("BallForm", "safe_depth"): frozenset({"Bore within the ball's safe depth"}),
    # a reading that was not taken decides nothing; the rim is foreseen from the bores
    **{("DrilledForm", f"rim_{at}"): NO_GREEN_OF for at in (12, 3, 6, 9)},
    # how deep to drill a finger is chosen by the plan, which says ASSUMED
    ("FitForm", "middle_depth"): NO_GREEN_OF,
    ("FitForm", "ring_depth"): NO_GREEN_OF,
    # the rim does not hang on the hole inside the inner; what is felt is tried in test_what_the_thumb_feels
    ("VisitorForm", "thumb_hole"): NO_GREEN_OF,
    ("VisitorForm", "tilt"): NO_GREEN_OF,
    ("SystemForm", "sleeve_od"): frozenset({"Surface left between sleeve and fingers", "Surface left between thumb and fingers"}),
    ("SystemForm", "lock_depth"): frozenset({"Drill clears the slug and spares the lock"}),
    ("SystemForm", "inner_length"): frozenset({"Drill clears the slug and spares the lock", "Least wall of the inner"}),
    # of a finger's hardware; thumb hardware is refused without it
    ("SystemForm", "bore"): NO_GREEN_OF,
    # no check hangs on them; a notch decides with the bore that is turned by it
    ("SystemForm", "locks"): NO_GREEN_OF,
    ("SystemForm", "notch"): NO_GREEN_OF,
    ("SystemForm", "wide_tab"): NO_GREEN_OF,
}  # fmt: skip
A_COUNT = "In stock at this size"  # follows from no measure


def list_greens(html: str) -> set[str]:
    """The first cells of the rows that are green; `verdict` for one outside a table."""
    found = set()
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
        named = [(tag, (c,)) for tag, own in columns.items() for c in (f"{name}_in", f"{name}_deg", name) if c in own]
    return named


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
            wrong.append(f"{name}: which columns?")
        wanted = {None, "unknown"} if name in choices else {None}
        for tag, own in columns:
            model, row_id = saved.rows[tag]
            row = exported[model.__tablename__, row_id]
            row = {"plan": row["plan"]["notch_deg"], "typed": row["plan"]["typed"]} if own == ("plan",) else row
            stored = world.read(model, row_id)
            held = [stored.plan.notch_deg] if own == ("plan",) else [getattr(stored, c) for c in own]
            wrong += [f"{name}: stored {v!r}" for v in held if v not in wanted]
            wrong += [f"{name}: exported {row[c]!r}" for c in own if row[c] not in wanted]
            if name not in choices and tag in {"bore", "inner", "ball", "system", "observation", "drilling", "fit"}:
                typed = row.get("typed", {}).get(name)
                wrong += [f"{name}: typed {typed!r} exported"] if typed != spelling else []
    shown = world.client.get(saved.page).text
    if shown.count(UNKNOWN) <= known.count(UNKNOWN):
        wrong.append(f"{names}: not shown as unknown on {saved.page}")
    barred = frozenset[str]().union(*(DERIVED.get((form, n), {"*"}) for n in names))
    for url in saved.derived:
        if "?drilling" in url and form == "VisitorForm" and set(names) <= {"depth", "datum"}:
            continue  # its own bore: it was trimmed flush there, however deep that is
        greens = list_greens(world.client.get(url).text)
        wrong += [f"{names}: green {sorted(greens)} on {url}"] if (greens if "*" in barred else greens & barred) else []
    return wrong


@pytest.fixture
def world(client: Client, app: FastAPI, who: str) -> World:
    return World(client, app, who)


def test_every_form_with_such_a_field_is_tried() -> None:
    allowing = {form for form, names in FIELDS.items() if names}
    assert allowing - ELSEWHERE == set(SCENARIOS)
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
