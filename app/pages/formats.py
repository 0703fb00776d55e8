"""Values as words and markup: lengths built up, moments by this machine's clock, what is not known."""

import re
from collections.abc import Mapping
from datetime import datetime, tzinfo
from fractions import Fraction
from functools import lru_cache

from markupsafe import Markup, escape

from app.calculation.units import millimetres
from app.measures.half_pairs import tells_unknown
from app.measures.wording import LEAST_TOLD_IN, clock_words, decimal, exact, inches, nearest_mark, plain_fraction
from app.prepared import AnyRow

NO_BREAK = "\u00a0"
_DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
_FRACTION = re.compile(r"(?<![\d./])(\d+ )?(\d+)/(\d+)")
_SPACE_WITHIN = re.compile(r"(?<=\d) (?=[+−] 0\.)|(?<=[+−]) (?=0\.)|(?<=±) ")  # of `3 47/64 + 0.003` and `± 1/64`


@lru_cache(4096)
def format_built_up(value: Fraction | float | None) -> Markup:
    """`3 ⁴⁷⁄₆₄` with its decimal small beside it; what is not known says so."""
    measure = format_figures(value)
    if value is None or inches(value) == decimal(value):
        return measure
    return measure + Markup(' <small class="decimal">{}</small>').format(decimal(value))


@lru_cache(4096)
def format_figures(value: Fraction | float | None) -> Markup:
    """`3 ⁴⁷⁄₆₄` alone, never broken over a line; what is not known says so."""
    if value is None:
        return Markup('<span class="unknown">unknown</span>')
    near, sign, rest = inches(value).replace("−", "+ −").partition(" + ")
    shown = Markup(" ").join(_format_fraction(part) for part in near.split(" "))
    if sign:
        shown += Markup(' <span class="rest">{}</span>').format(rest if rest[0] == "−" else f"+ {rest}")
    return Markup('<span class="measure" title="{} mm">{}</span>').format(f"{millimetres(value):.2f}", shown)


def format_inches(value: Fraction | float) -> str:
    """`3 47/64 + 0.001` in a sentence, joined so that no line ends inside it."""
    return inches(value).replace(" ", NO_BREAK)


def format_exactly(value: Fraction | float) -> str:
    return f"{format_inches(value)}{NO_BREAK}({decimal(value)})"


def format_mark(value: Fraction | float) -> Markup:
    """`3 ⁴⁷⁄₆₄ shy`: the nearest 64th built up, and whether the length is a little more or less."""
    near, word = nearest_mark(value)
    if not near and value >= LEAST_TOLD_IN:
        return Markup('<span class="measure">{}</span>').format(decimal(value))
    shown = Markup("\u2009").join(_format_fraction(part) for part in plain_fraction(near).split(" "))
    rest = Markup(' <span class="full-or-shy">{}</span>').format(word) if word else ""
    return Markup('<span class="measure">{}</span>').format(shown) + rest


def name_gap(typed: Mapping[str, str], field: str, absent: str = "not given") -> Markup:
    """What stands for a value that is not there: unknown where that was typed, else that it was not given."""
    if tells_unknown(typed.get(field, "")):
        return Markup('<span class="unknown">unknown</span>')
    return Markup('<span class="quiet">{}</span>').format(absent)


def _format_fraction(part: str) -> Markup:
    top, stroke, bottom = part.partition("/")
    if not stroke:
        return escape(part)
    return Markup('<span class="fraction"><sup>{}</sup>⁄<sub>{}</sub></span>').format(top, bottom)


def format_fractions(words: str) -> Markup:
    """A text with its fractions built up, no measure of it broken over a line."""
    parts = _FRACTION.split(_SPACE_WITHIN.sub(NO_BREAK, words))  # text, whole number, top, bottom, text …
    shown = escape(parts[0])
    for whole, top, bottom, text in zip(*(parts[i::4] for i in range(1, 5)), strict=True):
        joined = f"{whole.strip()}\u2009" if whole else ""
        built = Markup('<span class="fraction">{}<sup>{}</sup>⁄<sub>{}</sub></span>').format(joined, top, bottom)
        shown += built + text
    return shown


def format_local_time(moment: datetime) -> str:
    """A moment by this machine's clock."""
    return moment.astimezone().isoformat(" ", "minutes")[:16]


def format_local_day(moment: datetime) -> str:
    return moment.astimezone().date().isoformat()


def format_promise(moment: datetime, at: datetime | None = None, zone: tzinfo | None = None) -> str:
    """A promise by this machine's clock: `today 17:00`, `Sat 12:00`, further off with its day; past ones too."""
    local, today = moment.astimezone(zone), (at or datetime.now()).astimezone(zone).date()
    days = (local.date() - today).days
    near = {-1: "yesterday", 0: "today", 1: "tomorrow"}.get(days)
    day = near or (_DAYS[local.weekday()] if 1 < days < 7 else local.strftime("%Y-%m-%d"))
    return f"{day} {local:%H:%M}"


def describe_age(moment: datetime) -> str:
    """How long ago a moment was, by this machine's days: `today`, `12 days ago`, `14 months ago`."""
    days = (datetime.now().date() - moment.astimezone().date()).days
    if days < 2:
        return "today" if days < 1 else "yesterday"
    if days < 61:
        return f"{days} days ago"
    return f"{round(days / 30.4)} months ago" if days < 730 else f"{round(days / 365.25)} years ago"


def describe_whereabouts(bowler: AnyRow) -> str:
    """The end of a counter row, said in one piece as it is shown many times: `North Lanes · …0137 · here today`."""
    shop = bowler.home_shop or "no house shop"
    phone = f" · …{bowler.phone_last4}" if bowler.phone_last4 else ""
    return f"{shop}{phone} · here {describe_age(bowler.last_here)}" if bowler.last_here else f"{shop}{phone}"


def format_held(value: object, label: str = "") -> Markup | str:
    """A stored value to read: lengths built up, directions by the clock, moments by this machine's clock."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, Fraction | float):
        return format_direction(value) if label.endswith("direction") else format_built_up(value)
    if isinstance(value, datetime):
        return format_local_time(value)
    return str(value)


def format_direction(value: Fraction | float) -> str:
    return clock_words(Fraction(value))


def describe_device(agent: str) -> str:
    """What kind of device a browser says it runs on."""
    if "Tablet" in agent or "iPad" in agent:
        return "a tablet"
    return "a phone" if "Mobi" in agent else "a computer"


def format_count(count: int) -> str:
    """How many there are: `12`, or with a minus as wide as a figure `−1`."""
    return str(count).replace("-", "−")


def format_movement(count: int) -> str:
    """How many came or went: `+5`, `−1`."""
    return f"{'+' if count > 0 else ''}{format_count(count)}"


def format_minutes(minutes: float) -> str:
    """How long: `45 min`, `3 h 20 min`, `2 days 4 h`."""
    whole = round(minutes)
    days, hours, rest = whole // 1440, whole % 1440 // 60, whole % 60
    if days:
        return f"{days} {'day' if days == 1 else 'days'}" + (f" {hours} h" if hours else "")
    if hours:
        return f"{hours} h" + (f" {rest} min" if rest else "")
    return f"{rest} min"


_FINEST_OZ = 64


def format_ounces(value: Fraction | str | None) -> str:
    """`3 1/4 oz`, `3.001 oz`: to a thousandth where it is no fraction of the trade; empty without one."""
    if value is None:
        return ""
    amount = Fraction(value)
    return f"{exact(amount) if amount.denominator <= _FINEST_OZ else decimal(amount, 3)} oz"
