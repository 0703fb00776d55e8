import pytest

from app.errors import InvalidError
from app.schemas.identities import PasswordForm, PinForm


def test_short_and_endless_passwords_are_refused_at_the_field() -> None:
    for password in ("seven77", "x" * 201):
        with pytest.raises(InvalidError) as refused:
            PasswordForm.read({"who": "1", "present": "x", "password": password})
        assert "password" in refused.value.fields


@pytest.mark.parametrize("pin", ["123", "123456789", "12a4", ""])
def test_a_pin_is_four_to_eight_digits(pin: str) -> None:
    with pytest.raises(InvalidError):
        PinForm.read({"who": "1", "present": "x", "pin": pin})
