"""Parses what is typed into the search field: words of names, numbers, a hand and house shops."""

from dataclasses import dataclass, field

from app.services.bowler_words import HAND_WORDS, fold_words, make_hand_word, make_shop_word

_MOST_WORDS = 5


_HANDS = {"left": "left", "lefty": "left", "lefthanded": "left", "right": "right", "righthanded": "right"}


@dataclass(frozen=True)
class Question:
    """A parsed search: words of names, numbers, and the hand and house shops that restrict the answer."""

    names: list[str]
    numbers: list[str]
    hand: str = ""
    shops: dict[int, str] = field(default_factory=dict)  # id of the shop: the typed words of its name

    @property
    def kept_to(self) -> list[set[str]]:
        """The word sets that restrict the answer: a bowler found has at least one word of each set."""
        hand = {make_hand_word(self.hand)} if self.hand else set()
        return [choice for choice in (hand, {make_shop_word(i) for i in self.shops}) if choice]


def parse_question(text: str) -> Question:
    """Parses a search text; words beyond the first few are ignored."""
    typed = list(fold_words(text))
    hand = next((_HANDS[w] for w in typed if w in _HANDS), "")
    if len(typed) > 1:
        typed = [w for w in typed if w not in _HANDS and w not in HAND_WORDS]
    else:
        hand = ""
    names, numbers = _split_numbers([w[:60] for w in typed][:_MOST_WORDS])
    return Question(names, numbers, hand)


def _split_numbers(typed: list[str]) -> tuple[list[str], list[str]]:
    """Returns (words of letters only, words with a digit: part of a number, or of a name such as Max 3rd)."""
    has_digit = [any(c.isdigit() for c in w) for w in typed]
    names = [w for w, digit in zip(typed, has_digit, strict=True) if not digit]
    numbers = [w for w, digit in zip(typed, has_digit, strict=True) if digit]
    return names, numbers
