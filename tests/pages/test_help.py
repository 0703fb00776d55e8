"""Help pages render their Markdown, and the tests that the list of mended faults names are really there."""

import re

import pytest

from app.pages.help import FOLDER, NAMES
from app.settings import ROOT
from tests.conftest import Client


@pytest.mark.once
@pytest.mark.parametrize("name", NAMES)
def test_each_help_file_is_a_page_of_its_own_title(client: Client, name: str) -> None:
    heading = (FOLDER / f"{name}.md").read_text().partition("\n")[0]
    assert heading.startswith("# ")
    assert f"<h1>{heading[2:]}</h1>" in client.get(f"/help/{name}").text
    assert f'href="/help/{name}"' in client.get("/help").text


@pytest.mark.once
def test_each_cell_says_what_its_column_is_so_that_a_phone_can_stack_the_rows(client: Client) -> None:
    table = client.get("/help/security").text.partition("<tbody>")[2].partition("</tr>")[0]
    assert re.findall(r"<td(?: data-head=\"(.*?)\")?>", table) == ["", "how:", "proved by:"]


def test_each_mended_fault_names_a_test_that_exists() -> None:
    rows = re.findall(r"^\|.*\|$", (FOLDER / "changes.md").read_text(), re.M)
    faults = [row for row in rows if not row.startswith(("|---", "| fault "))]
    assert len(faults) > 60
    for row in faults:
        named = re.findall(r"(tests/[\w/]+\.py)::(\w+)", row)
        assert named, row
        for path, name in named:
            assert f"def {name}(" in (ROOT / path).read_text(), row
