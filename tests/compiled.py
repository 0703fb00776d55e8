"""Compiled queries shared by all databases of one process of tests."""

from sqlalchemy import Engine, create_engine
from sqlalchemy.util import LRUCache

from app import db


class Shared(LRUCache[tuple[object, ...], object]):
    """Compiled queries by the class of their dialect, the first part of a key, and not by the one of an engine."""

    def get(self, key: tuple[object, ...], default: object = None) -> object:
        return super().get((type(key[0]), *key[1:]), default)

    def __setitem__(self, key: tuple[object, ...], compiled: object) -> None:
        super().__setitem__((type(key[0]), *key[1:]), compiled)


def share_queries() -> None:
    """Lets every engine of a process use what another has compiled: a test's own database would compile it all again.

    Dialects of one class compile alike here, where all databases are alike.
    """
    kept = Shared(5_000)

    def create(url: str, **options: object) -> Engine:
        engine = create_engine(url, **options)
        engine._compiled_cache = kept  # type: ignore[assignment]
        return engine

    setattr(db, "create_engine", create)  # noqa: B010
