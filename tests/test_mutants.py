"""The faults that once passed every test are still where the mutation check puts them."""

import pytest

from tests.faults import named_mutant
from tests.mutants import NAMED


@pytest.mark.parametrize("row", NAMED, ids=lambda row: row[0])
def test_a_named_fault_stands_once_in_its_module(row: tuple[str, str, str, str]) -> None:
    assert named_mutant(*row).line > 1
