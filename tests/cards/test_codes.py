import re

import pytest
import segno

from app.cards.codes import LARGEST_VERSION, make_code, size_mm, to_svg
from app.cards.envelope import seal_card
from app.cards.errors import TooLargeError
from app.cards.texts import MOST_CHARACTERS, to_text
from tests.cards.made import PRIVATE_KEY, make_card


def test_a_card_with_two_inners_takes_a_code_that_fits_a_wallet_card() -> None:
    code = make_code(to_text(seal_card(make_card(), PRIVATE_KEY)))
    assert (code.version, code.error, code.mode) == (13, "L", "alphanumeric")
    assert (
        size_mm(code) == 38.5
    )  # 69 modules and 4 on each side, of 0.5 mm; a wallet card is 53.98 mm high: ISO/IEC 7810 ID-1


def test_a_smaller_card_can_lose_more_of_its_code() -> None:
    code = make_code(to_text(seal_card(make_card(inners=(), bores=(), depths=()), PRIVATE_KEY)))
    assert int(code.version) <= 13 and code.error in {"M", "Q", "H"}


def test_the_largest_card_fits_the_largest_code_and_no_more() -> None:
    # ISO/IEC 18004:2015 table 7: version 15 holds 758 characters at level L
    assert make_code("A" * MOST_CHARACTERS).version == LARGEST_VERSION
    assert make_code("A" * 758).version == LARGEST_VERSION
    with pytest.raises(TooLargeError):
        make_code("A" * 759)
    with pytest.raises(TooLargeError):
        make_code("A" * 10_000)


def test_the_drawing_has_its_printed_size() -> None:
    drawn = to_svg(segno.make_qr("A" * 600, error="l", version=13))
    assert re.search(r'width="38\.5mm" height="38\.5mm"', drawn)
