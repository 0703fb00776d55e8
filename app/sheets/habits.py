"""What nearly every row of a sheet does, so that the few that do otherwise are asked about."""

import re
from collections import Counter
from dataclasses import dataclass, field

from app.measures.wording import palm_side
from app.sheets.cells import Cell
from app.sheets.parts import Part
from app.sheets.readings import Draft

LEAST_ROWS = 30  # ASSUMED: fewer rows have no habit
USUAL_SHARE = 0.95  # ASSUMED: what as many rows do is a habit, and what the others do is asked about


@dataclass
class Habits:
    """Counts of the sides that thumbs lean to, towards the palm or away, and of the lengths of phones."""

    sides: Counter[str] = field(default_factory=Counter)
    phones: Counter[int] = field(default_factory=Counter)
    with_zero: int = 0

    def count_phone(self, cell: Cell) -> None:
        digits = re.sub(r"\D", "", cell.text.removesuffix(".0"))
        if digits:
            self.phones[len(digits)] += 1
            self.with_zero += digits.startswith("0")

    def count_lateral(self, part: Part, hand: str) -> None:
        side = find_palm_side(part.as_read, hand)
        if side:
            self.sides[side] += 1

    @property
    def usual_side(self) -> str:
        """`under` or `away` if nearly all thumbs lean there, else empty."""
        total = self.sides.total()
        side, times = self.sides.most_common(1)[0] if total else ("", 0)
        return side if total >= LEAST_ROWS and times >= USUAL_SHARE * total else ""

    @property
    def lost_zero_length(self) -> int:
        """How many digits a phone has that lost its leading zero; 0 where phones have none."""
        total = self.phones.total()
        length, _ = self.phones.most_common(1)[0] if total else (0, 0)
        return length - 1 if total and self.with_zero >= total / 2 else 0


def find_palm_side(text: str, hand: str) -> str:
    """Returns `under` or `away` for a lateral in the app's own writing, empty where it is straight or not known."""
    way = re.search(r"\b(left|right|under|away)\b", text)
    if not way or hand not in {"right", "left"} or way[1] in {"under", "away"}:
        return way[1] if way else ""
    return "under" if palm_side(hand) == way[1] else "away"


def ask_about_habits(draft: Draft, habits: Habits) -> None:
    """Asks about a phone that may have lost its zero, and about a thumb that leans where hardly any other does."""
    phone = draft.bowler.get("phone", "")
    length = habits.lost_zero_length
    if length and phone.isdigit() and len(phone) == length and phone[0] != "0" and "phone" not in draft.answers:
        draft.ask("phone", "Other phones begin with 0. Was it lost here?", (f"0{phone}", phone), phone)
    hand, text = draft.bowler.get("hand", ""), draft.fit.get("thumb_pitch", "")
    side = find_palm_side(text, hand)
    if habits.usual_side and side and side != habits.usual_side and "thumb_pitch" not in draft.answers:
        way = re.search(r"\b(left|right|under|away)\b", text)
        assert way is not None
        other = {"left": "right", "right": "left", "under": "away", "away": "under"}[way[1]]
        message = (
            f"Nearly every thumb of this sheet leans {habits.usual_side}, and this one {side}. Is hand or side wrong?"
        )
        draft.ask("thumb_pitch", message, (text, text.replace(way[1], other)), text)
