"""The list of security requirements in DEVELOPERS.md names tests that are really there."""

import re

from app.settings import ROOT

LIST = (ROOT / "DEVELOPERS.md").read_text().partition("## Security requirements")[2]


def test_each_requirement_names_a_test_that_exists():
    rows = re.findall(r"^\| ([\d.]+[^|]*)\|[^|]*\| ([\w/.:]+) \|$", LIST, re.M)
    assert len(rows) > 40
    for requirement, proof in rows:
        path, _, name = proof.partition("::")
        source = ROOT / "tests" / path
        assert source.exists(), requirement
        assert f"def {name}" in source.read_text() if name else True, requirement
