"""Cards that travel: keys of shops, cards issued and taken in, and what a shop says of its own depth.

A chain shop's private key is never exported (`NEVER_EXPORTED`): its owner has it on paper. A card that was read is
kept whole only once it was taken in, with the bowler whose it is; before that it is known by its hash alone.
"""

from datetime import date, datetime
from fractions import Fraction

from sqlalchemy import JSON, ForeignKey, LargeBinary, String, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column, relationship

from app.models.base import Base, MadeInShop, now
from app.models.shops import Shop, Staff
from app.models.systems import InsertSystem


class Installation(Base):
    """The one row that names this installation at random, whatever its keys; it stays in every export."""

    __tablename__ = "installation"

    id: Mapped[int] = mapped_column(primary_key=True)
    name: Mapped[bytes] = mapped_column(LargeBinary)


class ShopKey(Base):
    """An Ed25519 key of a shop of the chain; the one without `replaced_at` signs."""

    __tablename__ = "shop_key"

    id: Mapped[int] = mapped_column(primary_key=True)
    shop_id: Mapped[int] = mapped_column(ForeignKey("shop.id"), index=True)
    private_key: Mapped[bytes] = mapped_column(LargeBinary)
    public_key: Mapped[bytes] = mapped_column(LargeBinary, unique=True)
    made_at: Mapped[datetime] = mapped_column(default=now)
    replaced_at: Mapped[datetime | None]
    version: Mapped[int] = mapped_column()

    __mapper_args__ = {"version_id_col": version}


NEVER_EXPORTED = {"shop_key"}


class KnownKey(MadeInShop, Base):
    """Another shop's public key, noted on first sight under the name on its card.

    It is remembered once a card was taken in; one whose name another key claims (`is_changed`) counts only once
    somebody compared its digits: `accepted_at`.
    """

    __tablename__ = "known_key"

    id: Mapped[int] = mapped_column(primary_key=True)
    public_key: Mapped[bytes] = mapped_column(LargeBinary, unique=True)
    name: Mapped[str] = mapped_column(String(120))
    shop_id: Mapped[int | None] = mapped_column(ForeignKey("shop.id"), index=True)
    first_seen_at: Mapped[datetime] = mapped_column(default=now)
    is_changed: Mapped[bool] = mapped_column(default=False)
    accepted_at: Mapped[datetime | None]
    accepted_by_id: Mapped[int | None] = mapped_column(ForeignKey("staff.id"))
    version: Mapped[int] = mapped_column()

    shop: Mapped[Shop | None] = relationship(lazy="raise", foreign_keys=[shop_id])
    accepted_by: Mapped[Staff | None] = relationship(lazy="raise")

    __mapper_args__ = {"version_id_col": version}


class IssuedCard(MadeInShop, Base):
    """A card that was issued to a bowler, as its bytes; erasing the person empties them.

    `left_out` are the ids of inners that the person who issued it left out.
    """

    __tablename__ = "issued_card"
    __table_args__ = (UniqueConstraint("series", "revision"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    bowler_id: Mapped[int] = mapped_column(ForeignKey("bowler.id"), index=True)
    shop_id: Mapped[int] = mapped_column(ForeignKey("shop.id"))
    hand: Mapped[str] = mapped_column(String(5))
    series: Mapped[bytes] = mapped_column(LargeBinary)
    revision: Mapped[int]
    digest: Mapped[bytes] = mapped_column(LargeBinary, index=True)
    data: Mapped[bytes] = mapped_column(LargeBinary)
    fit_id: Mapped[int | None] = mapped_column(ForeignKey("fit.id"))
    made_on: Mapped[date]
    staff_id: Mapped[int] = mapped_column(ForeignKey("staff.id"))
    issued_at: Mapped[datetime] = mapped_column(default=now)
    left_out: Mapped[list[int]] = mapped_column(JSON, default=list)


class ReadCard(MadeInShop, Base):
    """A card of another shop that was read whole here, and taken in or not.

    `made` holds the ids of what it made when it was taken in, by table; `kept` says what stayed when it was taken back.
    """

    __tablename__ = "read_card"

    id: Mapped[int] = mapped_column(primary_key=True)
    digest: Mapped[bytes] = mapped_column(LargeBinary, index=True)
    series: Mapped[bytes] = mapped_column(LargeBinary)
    revision: Mapped[int]
    maker: Mapped[str] = mapped_column(String(120))
    public_key: Mapped[bytes] = mapped_column(LargeBinary)
    made_on: Mapped[date]
    outcome: Mapped[str] = mapped_column(String(10), default="read")
    data: Mapped[bytes | None] = mapped_column(LargeBinary)
    bowler_id: Mapped[int | None] = mapped_column(ForeignKey("bowler.id"), index=True)
    made: Mapped[dict[str, list[int]]] = mapped_column(JSON, default=dict)
    kept: Mapped[list[str]] = mapped_column(JSON, default=list)
    staff_id: Mapped[int] = mapped_column(ForeignKey("staff.id"))
    read_at: Mapped[datetime] = mapped_column(default=now)
    taken_back_reason: Mapped[str] = mapped_column(String(400), default="")
    version: Mapped[int] = mapped_column()

    staff: Mapped[Staff] = relationship(lazy="raise")

    __mapper_args__ = {"version_id_col": version}


class StatedDepth(MadeInShop, Base):
    """What a shop said on a card of how deep it bores; of one `evidence` the latest that was not taken back counts."""

    __tablename__ = "stated_depth"
    __table_args__ = (UniqueConstraint("evidence", "card_id"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    shop_id: Mapped[int] = mapped_column(ForeignKey("shop.id"), index=True)
    system_id: Mapped[int] = mapped_column(ForeignKey("insert_system.id"), index=True)
    card_id: Mapped[int] = mapped_column(ForeignKey("read_card.id"), index=True)
    mean_in: Mapped[Fraction]
    u_in: Mapped[Fraction]
    scatter_in: Mapped[Fraction]
    n: Mapped[int]
    balls: Mapped[int]
    datum: Mapped[str] = mapped_column(String(10))
    as_of: Mapped[date]
    evidence: Mapped[bytes] = mapped_column(LargeBinary)
    taken_back_at: Mapped[datetime | None]

    shop: Mapped[Shop] = relationship(lazy="raise", foreign_keys=[shop_id])
    system: Mapped[InsertSystem] = relationship(lazy="raise")
    card: Mapped[ReadCard] = relationship(lazy="raise")
