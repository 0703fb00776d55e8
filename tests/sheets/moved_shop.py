"""An invented shop's sheet of 400 bowlers, 40 of whose rows hold a trouble that somebody has to answer."""

import csv
import io
import random

BOWLERS, TROUBLES = 400, 40
_FIRST = [
    "Ada", "Bram", "Cleo", "Dorn", "Edda", "Finn", "Gerd", "Hal", "Ilse", "Jorn", "Kaja", "Lars", "Mira", "Nils", "Orla",
    "Pim", "Rosa", "Sten", "Tove", "Ulf",
]  # fmt: skip
_LAST = [
    "Abend", "Birkens", "Cassel", "Drumm", "Eckhoff", "Fjeld", "Gronau", "Hollin", "Inverk", "Jessen", "Krantz", "Lohmar",
    "Moorby", "Nesset", "Ostrup", "Pellow", "Quist", "Rehder", "Stavn", "Tjarks",
]  # fmt: skip
_HEADINGS = [
    "Name", "Phone", "Hand", "Span M", "Span R", "Thumb hole", "Thumb F/R", "Thumb L/R", "Mid hole", "Mid F/R", "Mid L/R",
    "Ring hole", "Ring F/R", "Ring L/R", "Bridge", "Fitted", "Ball", "Serial",
]  # fmt: skip
_TROUBLES = ("8-Mar", "43/8", "2026-03-08", "#REF!", "4 1/2 4 3/8")


def make_people(seed: int = 20) -> list[list[str]]:
    """Returns the rows of the sheet under its headings."""
    chance = random.Random(seed)
    rows = []
    for number in range(BOWLERS):
        middle = chance.randrange(264, 300)
        ring = middle + chance.randrange(-6, 7)
        rows.append([
            f"{_FIRST[number % 20]} {_LAST[number // 20]}", f"555 {number:04d} {chance.randrange(10_000):04d}", "R",
            _write(middle), _write(ring), f"{chance.randrange(58, 64)}/64", "1/4 R", "1/8 L", "3/4", "0", "1/8 R", "25/32", "0",
            "1/8 L", "1/4", f"20{chance.randrange(15, 24)}-05-{chance.randrange(1, 29):02d}", "House ball", f"MS-{number:04d}",
        ])  # fmt: skip
    for number in range(TROUBLES):
        rows[number * 10 + 3][3 if number % 2 else 5] = _TROUBLES[number % len(_TROUBLES)]
    return rows


def _write(sixty_fourths: int) -> str:
    whole, rest = divmod(sixty_fourths, 64)
    return f"{whole} {rest}/64" if rest else str(whole)


def make_sheet() -> bytes:
    """Returns the sheet as a text with semicolons, as some spreadsheets write it."""
    written = io.StringIO()
    csv.writer(written, delimiter=";").writerows([_HEADINGS, *make_people()])
    return written.getvalue().encode("utf-8-sig")
