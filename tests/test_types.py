"""How the code is built: types, closed sets, short files and functions, and a test file for every module."""

import ast
import re
import subprocess
import sys
from collections.abc import Callable, Collection
from pathlib import Path
from typing import get_args

import pytest

from app import closed_sets
from app.models import Base
from app.services.troubles import KINDS
from app.settings import ROOT

# modules without a test file of their own name: the file that tests them
TESTED_IN = {
    "calculation/errors": "calculation/test_grip.py",
    "calculation/grip_solver": "calculation/test_grip.py",
    "calculation/gauges": "calculation/test_charts.py",
    "calculation/holes": "calculation/test_sections.py",
    "calculation/inners": "calculation/test_bores.py",
    "calculation/spans": "calculation/test_grip.py",
    "calculation/triangles": "calculation/test_grip.py",
    "calculation/units": "calculation/test_sphere.py",
    "cards/contents": "cards/test_packing.py",
    "cards/errors": "cards/test_packing.py",
    "cards/kinds": "cards/test_packing.py",
    "cards/records": "cards/test_packing.py",
    "measures/divisions": "calculation/test_loose.py",
    "measures/reading": "measures/test_corpus.py",
    "measures/spelling": "measures/test_corpus.py",
    "services/old_places": "services/test_old_holes.py",
    "services/met_follows": "services/test_as_met.py",
    "services/met_terms": "services/test_as_met.py",
    "services/step_numbers": "services/test_routes.py",
    "services/balls": "pages/test_conflicts.py",
    "services/example_regulation": "services/test_regulations.py",
    "services/bowler_words": "services/test_words.py",
    "services/changes": "pages/test_history.py",
    "services/felt": "services/test_transfers.py",
    "services/finger_depths": "services/test_checks.py",
    "services/loose_inners": "pages/test_inners.py",
    "services/owned_rims": "services/test_owned_inners.py",
    "services/owned_routes": "services/test_owned_inners.py",
    "services/personal": "pages/test_personal.py",
    "services/known_depths": "services/test_depths.py",
    "services/retention": "pages/test_personal.py",
    "services/questions": "services/test_lookup.py",
    "services/sent_forms": "pages/test_conflicts.py",
    "services/sheet_forms": "services/test_sheet_inbox.py",
    "services/sheet_rows": "services/test_sheet_imports.py",
    "services/paper_pictures": "pages/test_paper_entries.py",
    "services/systems": "pages/test_systems.py",
    "services/troubles": "pages/test_troubles.py",
    "services/visitor_sets": "pages/test_visitor_sets.py",
}
MOST_ANY = {"app": 205, "tests": 59}  # lower it whenever it falls


@pytest.mark.parametrize("folder", MOST_ANY)
def test_any_only_becomes_rarer(tell: Callable[[str], None], folder: str) -> None:
    paths = [path for path in (ROOT / folder).rglob("*.py") if path != Path(__file__)]
    count = sum(len(re.findall(r"\bAny\b", path.read_text())) for path in paths)
    tell(f"Any stands {count} times in {folder}")
    assert count <= MOST_ANY[folder]


def test_a_wrong_attribute_of_a_form_field_is_an_error(tmp_path: Path) -> None:
    wrong = tmp_path / "wrong.py"
    wrong.write_text(
        "from app.schemas.inners import InnerForm\n\n\ndef read(form: InnerForm) -> None:\n    form.outside.valu\n"
    )
    command = [sys.executable, "-m", "mypy", "--config-file", str(ROOT / "pyproject.toml"), str(wrong)]
    told = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
    assert '"Reading[Fraction]" has no attribute "valu"' in told.stdout


def test_the_words_of_closed_sets_are_complete() -> None:
    words: dict[object, Collection[str]] = {
        closed_sets.Role: closed_sets.ROLES,
        closed_sets.Hand: closed_sets.HAND_WORDS,
        closed_sets.SpanEdges: closed_sets.SPAN_EDGES_WORDS,
        closed_sets.BridgeEdges: closed_sets.BRIDGE_EDGES_WORDS,
        closed_sets.SystemDigit: closed_sets.SYSTEM_DIGIT_WORDS,
        closed_sets.HeightSetBy: closed_sets.HEIGHT_WORDS,
        closed_sets.Datum: closed_sets.DATUM_WORDS,
        closed_sets.Obtained: closed_sets.OBTAINED_WORDS,
        closed_sets.TroubleKind: KINDS,
        closed_sets.BitEventKind: closed_sets.BIT_EVENT_WORDS,
    }
    for closed, known in words.items():
        assert set(get_args(closed)) == set(known)
    assert set(closed_sets.DATUM_CHOICES) == set(closed_sets.DATUM_WORDS)
    assert set(get_args(closed_sets.ObtainedByForm)) < set(get_args(closed_sets.Obtained))


def test_every_closed_column_is_a_column() -> None:
    for table, column in closed_sets.COLUMNS:
        assert column in Base.metadata.tables[table].c


def test_files_and_functions_of_the_app_stay_short() -> None:
    long: list[tuple[str, int]] = []
    for path in (ROOT / "app").rglob("*.py"):
        text = path.read_text()
        if (lines := text.count("\n")) > 300:
            long.append((str(path), lines))
        for node in ast.walk(ast.parse(text)):
            if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
                lines = (node.end_lineno or 0) - node.lineno + 1
                asked = len(node.args.posonlyargs + node.args.args + node.args.kwonlyargs)
                if lines > 40 or (asked > 6 and path.parent.name != "calculation"):
                    long.append((f"{path}:{node.name}, {asked} parameters", lines))
    assert not long


def test_each_module_with_rules_has_a_test_file() -> None:
    folders = ("calculation", "cards", "measures", "services")
    modules = [f"{folder}/{path.stem}" for folder in folders for path in (ROOT / "app" / folder).glob("[a-z]*.py")]
    files = {m: TESTED_IN.get(m, "{}/test_{}.py".format(*m.split("/"))) for m in modules}
    assert [m for m, file in files.items() if not (ROOT / "tests" / file).exists()] == []
    assert set(TESTED_IN) <= set(modules)
