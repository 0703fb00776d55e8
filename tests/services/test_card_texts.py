"""What a card says is typed into our forms and read back exactly, for random fits, hardware, angles and lengths."""

import random
from fractions import Fraction

from app.cards.contents import Hole
from app.measures.lengths import is_unknown
from app.measures.offsets import read_offset
from app.measures.ovals import read_clock, read_oval, read_towards
from app.measures.pairs import read_span_pair
from app.measures.pitches import read_pitch
from app.services.card_texts import UNKNOWN, write_clock, write_fit, write_oval, write_pitch, write_towards
from tests.cards.made import make_fit

F = Fraction
SIXTY_FOURTHS = [F(n, 64) for n in range(1, 64)]
DECIMALS = [F(n, 10_000) for n in (1, 37, 156, 2500, 3331, 9999)]


def test_ovals_read_back_exactly() -> None:
    r = random.Random(18)
    for _ in range(500):
        size, wider = F(3, 4) + r.choice(SIXTY_FOURTHS) / 2, r.choice([F(0), F(1, 64), F(1, 32), F(1, 16), F(3, 64)])
        deg = F(r.randrange(720), 2)
        found = read_oval(write_oval(size, wider, deg)).given
        assert (found.hole_in, found.oval_in) == (size, wider)
        assert found.oval_deg == (deg if wider else 0)
    assert write_oval(F(1), None, None) == UNKNOWN


def test_pitches_and_sides_read_back_exactly_for_either_hand() -> None:
    for forward in [F(0), *SIXTY_FOURTHS, *DECIMALS]:
        for sign, right in ((1, F(0)), (-1, F(1, 8)), (-1, F(-3, 64)), (1, F(-1250, 10_000))):
            text = write_pitch(sign * forward, right)
            for hand in ("right", "left"):
                found = read_pitch(text, hand, "thumb").given
                assert (found.forward_in, found.right_in) == (sign * forward, right), text
    assert is_unknown(write_pitch(F(0), None))


def test_clock_directions_and_lifts_read_back_exactly() -> None:
    for half in range(720):
        assert read_clock(write_clock(F(half, 2))).given == F(half, 2)
    found = read_towards(write_towards(F(1, 32), F(12))).given
    assert (found.size_in, found.deg) == (F(1, 32), F(12))
    assert read_towards(write_towards(F(0), None)).given.size_in == 0


def test_a_fit_is_typed_with_both_spans_by_name_and_what_is_unknown_said() -> None:
    without = write_fit(make_fit(), "right", "from a card", [0, 8])
    assert (without["system_id"], without["ring_insert"]) == (UNKNOWN, "8")
    typed = write_fit(make_fit(), "right", "from a card", [7, 8])
    spans = read_span_pair(typed["spans"], "ring").given
    assert (spans.middle_in, spans.ring_in) == (F(257, 64), F(133, 32))
    assert (typed["system_id"], typed["middle_insert"]) == ("7", "8")
    assert read_offset(typed["thumb_offset"]).given == 0
    hole = Hole(size_in=None, oval_in=None)
    assert write_oval(hole.size_in, hole.oval_in, hole.oval_deg) == UNKNOWN
