"""A card as JSON says exactly what the card says, and its schema takes it; checked by an independent validator."""

import json
import random
from fractions import Fraction

import jsonschema_rs
import pytest

from app.cards.plain import write_plain, write_schema
from tests.cards.made import make_card, make_random


def test_random_cards_are_what_the_schema_says() -> None:
    """jsonschema-rs, a validator of JSON Schema draft 2020-12."""
    assert jsonschema_rs.meta.is_valid(write_schema())
    checker = jsonschema_rs.Draft202012Validator(write_schema())
    r = random.Random(18)
    for _ in range(200):
        checker.validate(json.loads(json.dumps(write_plain(make_random(r)))))


def test_every_length_is_exact_and_unknown_is_null() -> None:
    told = json.loads(json.dumps(write_plain(make_card())))
    assert Fraction(told["fit"]["middle_span_in"]) == Fraction(257, 64)
    assert Fraction(told["depths"][0]["mean_in"]) == Fraction(27_506, 10_000)
    assert told["bores"][1]["depth_in"] is None
    assert (told["series"], told["made_on"]) == ("5e21c4a7900d", "2026-03-14")  # pragma: allowlist secret


def test_what_the_schema_does_not_say_is_refused_by_it() -> None:
    checker = jsonschema_rs.Draft202012Validator(write_schema())
    told = json.loads(json.dumps(write_plain(make_card())))
    for wrong in (told | {"notes": "x"}, told | {"hand": "both"}, {k: v for k, v in told.items() if k != "fit"}):
        with pytest.raises(jsonschema_rs.ValidationError):
            checker.validate(wrong)
