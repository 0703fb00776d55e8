"""The list of security requirements of the help page on security names tests that are really there."""

import re

from app.settings import ROOT

LIST = (ROOT / "templates/help/security.md").read_text()


def test_each_requirement_names_a_test_that_exists() -> None:
    rows = re.findall(r"^\| ([\d.]+[^|]*)\|[^|]*\| ([\w/.:]+) \|$", LIST, re.M)
    assert len(rows) > 40
    for requirement, proof in rows:
        path, _, name = proof.partition("::")
        source = ROOT / "tests" / path
        assert source.exists(), requirement
        assert f"def {name}" in source.read_text() if name else True, requirement
