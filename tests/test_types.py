"""What the type checker sees: form fields have their own types, and `Any` may only become rarer."""

import re
import subprocess
import sys

from app.settings import ROOT

MOST_ANY = 208  # in app; lower it whenever it falls


def test_any_only_becomes_rarer(tell):
    count = sum(len(re.findall(r"\bAny\b", path.read_text())) for path in (ROOT / "app").rglob("*.py"))
    tell(f"Any stands {count} times in app")
    assert count <= MOST_ANY


def test_a_wrong_attribute_of_a_form_field_is_an_error(tmp_path):
    wrong = tmp_path / "wrong.py"
    wrong.write_text(
        "from app.schemas.inners import InnerForm\n\n\ndef read(form: InnerForm) -> None:\n    form.outside.valu\n"
    )
    command = [sys.executable, "-m", "mypy", "--config-file", str(ROOT / "pyproject.toml"), str(wrong)]
    told = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
    assert '"Reading[Fraction]" has no attribute "valu"' in told.stdout
