"""Makes the README's screenshots again: python -m tests.browser.screenshots"""

import os
import sys
from pathlib import Path

import pytest

SHOWN = "whole or phone or empty or set_of_ten or signs_in_where or acts_by_pin or loser or lets_somebody"

if __name__ == "__main__":
    os.environ["SPANBOOK_SCREENSHOTS"] = str(Path(__file__).parent / "screenshots")
    sys.exit(pytest.main(["tests/browser", "-k", SHOWN]))
