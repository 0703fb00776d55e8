"""Our shops' keys: one signs, its paper brings it back exactly, and no export ever holds one."""

import base64
import itertools

import pytest
from sqlalchemy import delete, select
from sqlalchemy.orm import Session

from app.cards.signing import fingerprint, is_signed, public_key_of, sign
from app.db import READ_AT_ONE_MOMENT
from app.errors import ConflictError, InvalidError
from app.models import Change, Shop, ShopKey
from app.schemas.cards import PaperForm, ReplacementForm
from app.services import portable, shop_keys, shops
from tests.conftest import not_none

# RFC 8032 section 7.1, test 1
SECRET = bytes.fromhex("9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60")  # pragma: allowlist secret
PUBLIC = bytes.fromhex("d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a")  # pragma: allowlist secret


def ours(session: Session) -> Shop:
    return shops.require_our_shop(session)


def test_a_shop_has_a_key_from_its_set_up_on_and_keeps_it(session: Session, who: str) -> None:
    first = not_none(shop_keys.find_key(session, ours(session)))
    assert shop_keys.get_key(session, int(who), ours(session)) is first
    assert is_signed(first.public_key, sign(first.private_key, b"card"), b"card")
    assert shop_keys.is_ours(session, first.public_key)


def test_a_replaced_key_is_kept_with_the_reason_and_a_new_one_signs(session: Session, who: str) -> None:
    old = shop_keys.get_key(session, int(who), ours(session))
    form = ReplacementForm.read({"who": who, "version": old.version, "why": "the till was stolen"})
    new = shop_keys.replace(session, ours(session), form)
    session.flush()
    assert shop_keys.find_key(session, ours(session)) is new
    assert new.private_key != old.private_key
    assert [key.id for key in shop_keys.list_keys(session, ours(session))] == [new.id, old.id]
    assert old.replaced_at is not None
    assert shop_keys.is_ours(session, old.public_key)
    line = not_none(session.scalar(select(Change).where(Change.field == "key").order_by(Change.id.desc())))
    assert (line.why, line.staff_id) == ("the till was stolen", int(who))
    with pytest.raises(ConflictError):
        shop_keys.replace(session, ours(session), form.model_copy(update={"version": 99}))


def test_the_paper_brings_the_same_key_back_after_an_import_without_it(session: Session, who: str) -> None:
    """The public key of a private one: RFC 8032 section 7.1, test 1."""
    before = not_none(shop_keys.find_key(session, ours(session)))
    groups = shop_keys.write_paper(SECRET)
    assert len(groups) == 17
    paper = "  ".join(groups[:8]).lower() + "\n" + " ".join(groups[8:])
    back = shop_keys.bring_back(session, ours(session), PaperForm.read({"who": who, "paper": paper}))
    assert (back.private_key, back.public_key) == (SECRET, PUBLIC)
    assert before.replaced_at is not None
    assert shop_keys.find_key(session, ours(session)) is back
    with pytest.raises(InvalidError):
        shop_keys.bring_back(session, ours(session), PaperForm.read({"who": who, "paper": paper}))
    old = " ".join(shop_keys.write_paper(before.private_key))
    assert shop_keys.bring_back(session, ours(session), PaperForm.read({"who": who, "paper": old})) is before
    session.flush()
    assert shop_keys.find_key(session, ours(session)) is before


def test_a_key_that_a_copy_did_not_bring_is_missed_and_no_other_takes_its_place_unsaid(
    session: Session, who: str
) -> None:
    shop = ours(session)
    before = not_none(shop_keys.find_key(session, shop))
    assert shop_keys.find_lost(session, shop) == ""
    paper = " ".join(shop_keys.write_paper(before.private_key))
    session.execute(delete(ShopKey))  # as an import leaves it
    session.expunge_all()
    shop = ours(session)
    assert shop_keys.find_lost(session, shop) == fingerprint(before.public_key)
    with pytest.raises(ConflictError, match="paper"):
        shop_keys.get_key(session, int(who), shop)
    assert shop_keys.find_key(session, shop) is None
    new = shop_keys.replace(session, shop, ReplacementForm.read({"who": who, "version": 1, "why": "the paper burnt"}))
    assert shop_keys.get_key(session, int(who), shop) is new
    assert shop_keys.find_lost(session, shop) == ""
    back = shop_keys.bring_back(session, shop, PaperForm.read({"who": who, "paper": paper}))
    assert back.public_key == before.public_key


def test_no_slip_of_the_pen_on_a_paper_is_taken_for_a_key() -> None:
    """Every digit in turn is misread, and every two neighbouring groups change places."""
    groups = shop_keys.write_paper(SECRET)
    text = "".join(groups)
    misread = [text[:i] + ("0" if c != "0" else "1") + text[i + 1 :] for i, c in enumerate(text)]
    swapped = ["".join([*groups[:i], b, a, *groups[i + 2 :]]) for i, (a, b) in enumerate(itertools.pairwise(groups))]
    for wrong in [*misread, *swapped, text[:-1], text + "0", "O" + text[1:], ""]:
        with pytest.raises(InvalidError):
            shop_keys.read_paper(wrong)
    assert public_key_of(shop_keys.read_paper(text)) == PUBLIC


def test_no_export_holds_a_private_key_but_it_names_the_installation(session: Session) -> None:
    name = shop_keys.name_installation(session)
    session.commit()
    secrets = session.scalars(select(ShopKey.private_key)).all()
    assert secrets
    session.commit()
    session.connection(execution_options=READ_AT_ONE_MOMENT)
    told = "\n".join(portable.export_lines(session.connection(), "x"))
    assert base64.b64encode(name).decode() in told
    for secret in secrets:
        assert base64.b64encode(secret).decode() not in told
        assert secret.hex() not in told
    assert "shop_key" not in told
