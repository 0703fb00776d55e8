from sqlalchemy import select
from sqlalchemy.orm import Session

from app.models import ApiToken, Attempt, Change, SignIn, Staff
from app.schemas.identities import TokenForm
from app.services import accounts, tokens
from seed_demo import PASSWORD, PIN
from tests.services.test_sign_ins import person


def test_nothing_stored_or_told_of_staff_holds_a_secret(session: Session, who: str) -> None:
    code = accounts.invite(session, int(who), person(session).id)
    text = tokens.make_token(session, token_form(who), 1)[1]
    session.commit()
    kept = str([session.execute(select(t.__table__)).all() for t in (Staff, SignIn, ApiToken, Change, Attempt)])
    for secret in (code, text, PASSWORD, f"'{PIN}'"):
        assert secret not in kept


def token_form(who: str) -> TokenForm:
    from app.schemas.identities import TokenForm

    return TokenForm.read({"who": who, "label": "till", "scopes": "read", "shop_id": "1"})
