"""Whole numbers of the floor's forms: leading zeros do not carry a number past its limit."""

from typing import get_args

import pytest

from app.closed_sets import TicketKind
from app.errors import InvalidError
from app.schemas.floor import FloorForm
from app.schemas.tickets import WaitForm

PAST = "0000019999999"
USUAL = {f"minutes-{kind}": "10" for kind in get_args(TicketKind)} | {
    "who": "1",
    "set_up_minutes": "6",
    "presses": "1",
    "follow_up_days": "14",
}


@pytest.mark.parametrize("field", ["minutes-new", "set_up_minutes", "presses", "follow_up_days"])
def test_zeros_carry_no_setting_past_its_limit(field: str) -> None:
    assert FloorForm.read(USUAL | {field: "0004"})
    with pytest.raises(InvalidError) as refused:
        FloorForm.read(USUAL | {field: PAST})
    assert set(refused.value.fields) == {field}


def test_zeros_carry_no_cure_past_two_weeks() -> None:
    assert WaitForm.read({"who": "1", "kind": "glue", "minutes": "030"}).minutes == 30
    with pytest.raises(InvalidError) as refused:
        WaitForm.read({"who": "1", "kind": "glue", "minutes": PAST})
    assert set(refused.value.fields) == {"minutes"}
