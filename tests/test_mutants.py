"""The faults that once passed every test, and those that none can tell, are still where the mutation check puts them."""

import pytest

from tests.faults import ROOT, named_mutant
from tests.mutants import EQUIVALENT, NAMED


@pytest.mark.parametrize("row", NAMED, ids=lambda row: row[0])
def test_a_named_fault_stands_once_in_its_module(row: tuple[str, str, str, str]) -> None:
    assert named_mutant(*row).line > 1


def test_a_fault_left_out_as_equal_is_one_of_a_line_that_still_stands() -> None:
    lines = {
        module: {line.strip() for line in (ROOT / f"app/{module}.py").read_text().splitlines()}
        for module, _, _ in EQUIVALENT
    }
    assert {(module, text) for module, text, _ in EQUIVALENT if text not in lines[module]} == set()
