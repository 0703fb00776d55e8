"""The table of a difference: what is shown adds up to the hundredth, however its figures were rounded."""

import random

import pytest
from pydantic import JsonValue

from app.pages.balance_tables import list_rows

WAYS = ("right", "finger", "top")


def tell(pick: random.Random) -> dict[str, JsonValue]:
    shares = [{way: pick.gauss(0, 0.02) for way in WAYS} for _ in range(6)]
    predicted = {way: pick.gauss(0, 1) for way in WAYS}
    rest = {way: pick.gauss(0, 0.02) for way in WAYS}
    difference = {way: sum(share[way] for share in shares) + rest[way] for way in WAYS}
    found = {way: predicted[way] + difference[way] for way in WAYS}
    listed: list[JsonValue] = [{"source": f"doubt {i}", "change": dict(share)} for i, share in enumerate(shares)]
    return {
        "found": dict(found), "predicted": dict(predicted), "difference": dict(difference), "shares": listed,
        "rest": dict(rest),
    }  # fmt: skip


@pytest.mark.parametrize("seed", range(20))
def test_what_is_shown_adds_up(seed: int) -> None:
    told = tell(random.Random(seed))
    rows = list_rows(told)
    shown = {row.label: [float(f"{value:.2f}") for value in row.ounces if value is not None] for row in rows}
    parts = [values for label, values in shown.items() if label.startswith("by ")]
    for i in range(3):
        assert shown["Found"][i] - shown["Predicted"][i] == pytest.approx(shown["Difference"][i], abs=1e-9)
        assert sum(part[i] for part in parts) == pytest.approx(shown["Difference"][i], abs=1e-9)
        rest = told["rest"]
        assert isinstance(rest, dict)
        assert parts[-1][i] == pytest.approx(rest[WAYS[i]], abs=0.05)


def test_what_was_not_read_is_blank_and_what_is_not_explained_has_no_shares() -> None:
    told = tell(random.Random(1)) | {"is_explained": False}
    found = told["found"]
    assert isinstance(found, dict)
    told["found"] = found | {"top": None}
    rows = list_rows(told)
    assert [row.label for row in rows] == ["Found", "Predicted", "Difference"]
    assert all(row.ounces[2] is None for row in rows)
    assert list_rows({"found": {"right": 0.5}}) == []
