"""New SQLite files that are copies of a migrated one: all migrations take a second each time."""

import shutil
from collections.abc import Callable

from app.db import file_of, revision, upgrade


def upgrade_or_copy(find_empty: Callable[[str], str], url: str, to: str = "head") -> None:
    """Upgrades as the app does, but makes a new SQLite file a copy of the empty one of that migration."""
    file = file_of(url)
    if file and not (file.exists() and file.stat().st_size):
        shutil.copy(find_empty(revision() if to == "head" else to).removeprefix("sqlite:///"), file)
    else:
        upgrade(url, to)
