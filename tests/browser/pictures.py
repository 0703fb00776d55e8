"""Makes the README's pictures again: python -m tests.browser.pictures"""

import os
import sys
from pathlib import Path

import pytest

SHOWN = "whole or phone or empty or set_of_ten or signs_in_where or acts_by_pin or loser or lets_somebody"

if __name__ == "__main__":
    os.environ["SPANBOOK_PICTURES"] = str(Path(__file__).parent / "pictures")
    sys.exit(pytest.main(["tests/browser", "-k", SHOWN]))
