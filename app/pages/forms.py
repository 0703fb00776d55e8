"""The forms of one page as its templates show them: which was refused, what was typed, what is wrong, who may sign."""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field

from app.errors import FieldError
from app.models import Staff


@dataclass(frozen=True)
class ShownForm:
    """One form of a page. `prefix` stands before its fields' ids, so that ids differ between the forms of a page."""

    values: Mapping[str, object]
    errors: Mapping[str, FieldError]
    is_open: bool  # it was refused, and is shown unfolded
    prefix: str
    who: object  # the id of whoever is chosen to sign
    signers: Callable[[], list[Staff]]
    focus: Iterator[str]
    return_to: str = ""  # the page that led here, which is led back to after saving

    def take_focus(self) -> str:
        """The attribute that gives a field the focus, once a page: to the first on it that asks for it."""
        return next(self.focus, "")

    def value(self, name: str) -> str:
        found = self.values.get(name)
        return "" if found is None else str(found)

    def error(self, name: str) -> FieldError | None:
        return self.errors.get(name)


@dataclass(frozen=True)
class Forms:
    """Gives each form of a page; typed values and errors go to the `refused` one ("" is the only form of its page)."""

    values: Mapping[str, object]
    errors: Mapping[str, FieldError]
    refused: str
    who: object
    signers: Callable[[], list[Staff]]
    focus: Iterator[str] = field(default_factory=lambda: iter(("autofocus",)))
    return_to: str = ""

    def of(self, name: str, prefix: str = "", saved: Mapping[str, object] | None = None) -> ShownForm:
        """The form called `name`; `saved` are the values it shows until it is refused."""
        is_refused = name == self.refused
        own = (self.values, self.errors, bool(name)) if is_refused else (saved or {}, {}, False)
        return ShownForm(*own, prefix, self.who, self.signers, self.focus, self.return_to)
