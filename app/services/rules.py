"""Rules of the chain, set by owners."""

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.errors import NotFoundError
from app.models import Rule
from app.schemas.identities import RuleForm
from app.services import accounts, changes

OWN_SHOP_ONLY, RETENTION_YEARS, CARD_MONTHS = "own_shop_only", "retention_years", "card_months"
RULES = {
    OWN_SHOP_ONLY: "Who edits a record",
    RETENTION_YEARS: "Years without a visit after which a bowler is listed for erasing (0: never)",
    CARD_MONTHS: "Months after which another shop's card is told to be old (0: 12, ASSUMED)",
}


def get_rule(session: Session, name: str) -> int:
    """Returns the value of a rule, 0 if it was never set."""
    found = session.get(Rule, name)
    return found.value if found else 0


def list_rules(session: Session) -> dict[str, Rule]:
    """Returns every rule by name; one never set has value 0 and version 0."""
    found = {r.name: r for r in session.scalars(select(Rule))}
    return {name: found.get(name) or Rule(name=name, value=0, version=0) for name in RULES}


def set_rule(session: Session, name: str, form: RuleForm) -> None:
    """Sets a rule; raises NotFoundError, or ConflictError for an older version."""
    if name not in RULES:
        raise NotFoundError("There is no such rule.")
    found = session.get(Rule, name)
    old, new = found.value if found else 0, int(form.value)
    if found is None:
        session.add(Rule(name=name, value=new))
    else:
        changes.require_version(session, found, form.version)
        found.value = new
    changes.note(
        session, form.who, accounts.get_person(session, form.who), changes.Entry(RULES[name], str(old), str(new))
    )
