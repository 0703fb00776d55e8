"""The forms that a page offers, read from its HTML as a browser does."""

import re
from dataclasses import dataclass, field
from html.parser import HTMLParser


@dataclass
class Offered:
    """A form as a page offers it: fixed and chosen values, choices, and the names that wait for a text."""

    action: str
    values: dict[str, str] = field(default_factory=dict)
    choices: dict[str, list[str]] = field(default_factory=dict)
    texts: list[str] = field(default_factory=list)
    can_be_sent: bool = False

    @property
    def kind(self) -> str:
        return self.action.rsplit("/", 1)[-1]


class _Reader(HTMLParser):
    """Collects the posted forms of a page."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[Offered] = []
        self._open: Offered | None = None
        self._select = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        has = {name: value or "" for name, value in attrs}
        if tag == "form" and has.get("method") == "post":
            self._open = Offered(has["action"])
            self.found.append(self._open)
        elif self._open is None:
            return
        elif tag == "button" and "name" not in has:
            self._open.can_be_sent = True
        elif tag == "option":
            self._add_choice(self._open, self._select, has["value"], "selected" in has)
        elif tag == "select":
            self._select = has["name"]
        elif tag in ("input", "textarea") and "name" in has:
            self._add_input(self._open, has)

    def _add_input(self, form: Offered, has: dict[str, str]) -> None:
        name, kind = has["name"], has.get("type", "text")
        if kind in ("radio", "checkbox"):
            self._add_choice(form, name, has["value"], "checked" in has)
        elif kind == "hidden":
            form.values[name] = has["value"]
        elif kind != "password":
            form.texts.append(name)
            form.values[name] = has.get("value", "")

    def _add_choice(self, form: Offered, name: str, value: str, is_chosen: bool) -> None:
        form.choices.setdefault(name, []).append(value)
        if is_chosen:
            form.values[name] = value

    def handle_endtag(self, tag: str) -> None:
        if tag == "form":
            self._open = None


def read_forms(html: str) -> list[Offered]:
    reader = _Reader()
    reader.feed("".join(re.findall(r"<form[ >].*?</form>", html, re.S)))
    return [form for form in reader.found if form.can_be_sent]


def list_errors(html: str) -> list[str]:
    """Returns what a page says is wrong, for the report of a failing walk."""
    found = re.findall(r'class="(?:error|notice error)"[^>]*>(.*?)</(?:p|span|section)>', html, re.S)
    return [" ".join(re.sub(r"<[^>]+>", " ", words).split()) for words in found]
