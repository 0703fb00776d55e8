"""The page of the format says what the code does: its tables, and a vector made by a published key."""

import re
from dataclasses import fields

import pytest

from app.cards.contents import Bore, Card, Depth, Fit, Hardware, Hole, Inner
from app.cards.envelope import MOST_BYTES, VERSION, open_card, seal_card
from app.cards.signing import fingerprint, public_key_of
from app.cards.texts import read_text, to_lines
from app.cards.words import list_words
from app.settings import ROOT
from tests.cards.made import make_card
from tests.cards.test_signing import PUBLISHED

PAGE = (ROOT / "templates/help/card.md").read_text(encoding="utf-8")


def _read_block(kind: str) -> str:
    found = re.search(rf"```{kind}\n(.*?)\n```", PAGE, re.DOTALL)
    assert found
    return found[1]


def test_the_vector_of_the_page_is_read() -> None:
    data = bytes.fromhex(_read_block("hex"))
    opened = open_card(data)
    assert opened.card == make_card()
    assert opened.public_key.hex() == PUBLISHED[0][1]  # RFC 8032 section 7.1, test 1
    assert fingerprint(opened.public_key) in PAGE
    assert read_text(_read_block("text")) == opened
    assert f"{len(data)} bytes:" in PAGE


def test_the_vector_of_the_page_is_written() -> None:
    private_key = bytes.fromhex(PUBLISHED[0][0])
    data = seal_card(make_card(), private_key)
    assert data.hex() == _read_block("hex").replace("\n", "")
    assert to_lines(data) == _read_block("text")
    assert public_key_of(private_key) == data[1:33]


def test_the_words_of_the_page_are_the_cards() -> None:
    said = [f"{heading}: {label}: {words}" for heading, lines in list_words(make_card()) for label, words in lines]
    assert [line for line in said if ": how to read: " not in line] == _read_block("words").splitlines()


@pytest.mark.parametrize("of", [Card, Fit, Hole, Hardware, Bore, Inner, Depth])
def test_the_table_of_each_record_has_its_keys(of: type) -> None:
    section = PAGE.partition(f"### {of.__name__}\n")[2].partition("\n\n#")[0]
    rows = re.findall(r"^\| (\d+) \| (\w+) \|.*\| (.*?) \| .*\|$", section, re.M)
    assert [(int(key), name) for key, name, _ in rows] == [(f.metadata["key"], f.name) for f in fields(of)]


def test_the_numbers_of_the_page_are_the_codes() -> None:
    assert f"version: {VERSION}" in PAGE and f"At most {MOST_BYTES} bytes" in PAGE
