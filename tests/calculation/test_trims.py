import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.calculation.trims import best_trim

EXHAUSTIVE_IN = 0.0005


@settings(deadline=None)
@given(st.lists(st.tuples(st.floats(-0.1, 0.1), st.floats(0, 0.1)), min_size=1, max_size=8))
def test_the_best_trim_equals_an_exhaustive_search(rims: list[tuple[float, float]]) -> None:
    rims = [(low, low + width) for low, width in rims]
    best = best_trim(rims)
    cuts = np.arange(0.0, 0.25, EXHAUSTIVE_IN / 5)
    worst = [max(max(abs(low - c), abs(high - c)) for low, high in rims) for c in cuts]
    assert best.worst_after_in == pytest.approx(min(worst), abs=EXHAUSTIVE_IN)
    assert best.worst_after_in <= best.worst_before_in + 1e-12
