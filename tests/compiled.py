"""Compiled queries shared by all databases of one process of tests."""

from sqlalchemy import Engine, create_engine
from sqlalchemy.engine.default import DefaultDialect
from sqlalchemy.util import LRUCache

from app import db


def share_queries() -> None:
    """Lets every engine of a process use what another has compiled: a test's own database would compile it all again.

    Compiled queries are kept by dialect, and dialects of one class are alike here, where all databases are.
    """
    kept: LRUCache[tuple[object, ...], object] = LRUCache(5_000)

    def create(url: str, **options: object) -> Engine:
        engine = create_engine(url, **options)
        engine._compiled_cache = kept  # type: ignore[assignment]
        return engine

    setattr(DefaultDialect, "__eq__", lambda own, other: type(own) is type(other))  # noqa: B010
    setattr(DefaultDialect, "__hash__", lambda own: hash(type(own)))  # noqa: B010
    setattr(db, "create_engine", create)  # noqa: B010
