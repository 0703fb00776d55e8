from typing import Annotated

from pydantic import BeforeValidator, Field, StringConstraints

from app.closed_sets import Role, Scope
from app.schemas.forms import Form, Id, Name, OptionalId, ShortText, SignedForm, written_like
from app.schemas.shops import Initials, Town

Secret = Annotated[str, StringConstraints(min_length=1, max_length=200, strip_whitespace=False)]
NewPassword = Annotated[str, StringConstraints(min_length=8, max_length=200, strip_whitespace=False)]
SignInName = Annotated[str, Field(max_length=60)]
Pin = Annotated[str, written_like(r"[0-9]{4,8}", "Write 4 to 8 digits.")]
OptionalPin = Annotated[str, written_like(r"([0-9]{4,8})?", "Write 4 to 8 digits.")]


class SignInForm(Form):
    who: int = 0
    sign_in_name: Annotated[SignInName, Field(min_length=1)]
    password: Secret


class WelcomeForm(Form):
    who: int = 0
    sign_in_name: Annotated[SignInName, Field(min_length=1)]
    code: Annotated[str, Field(min_length=1, max_length=80)]
    password: NewPassword
    pin: OptionalPin = ""


class SetupForm(Form):
    """The first run: sets up our shop, unless it exists, and its owner."""

    who: int = 0
    shop_name: Annotated[str, Field(max_length=120)] = ""
    town: Town = ""
    staff_name: Name
    initials: Initials
    password: NewPassword
    pin: OptionalPin = ""


class PasswordForm(SignedForm):
    present: Secret
    password: NewPassword


class PinForm(SignedForm):
    present: Secret
    pin: Pin


class PersonForm(SignedForm):
    name: Name
    initials: Initials
    role: Role = "driller"
    sign_in_name: SignInName = ""
    shop_id: OptionalId = None
    is_active: bool = True


class TokenForm(SignedForm):
    label: Annotated[ShortText, Field(min_length=1, max_length=80)]
    shop_id: Id
    scopes: Annotated[list[Scope], BeforeValidator(lambda v: v.split(" ") if isinstance(v, str) else v)]


class RuleForm(SignedForm):
    value: Annotated[str, written_like(r"[0-9]{1,2}", "Write a whole number from 0 to 99.")]
