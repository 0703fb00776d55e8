"""Which row of an import's inbox each browser has open, so that two people who work at one inbox get other rows.

Kept in the server's memory, because it spares work and decides nothing: who answers a row second is refused anyway.
"""

import time
from collections.abc import Callable
from threading import Lock

KEPT_S = 300  # ASSUMED: a row that lay open for longer was left


class InboxDesks:
    """The row that each browser has open, by the import's number."""

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock = clock
        self._open: dict[tuple[int, str], tuple[int, float]] = {}
        self._lock = Lock()

    def list_of_others(self, import_id: int, browser: str) -> frozenset[int]:
        """Returns the rows of an import that other browsers have open."""
        with self._lock:
            self._open = {k: v for k, v in self._open.items() if v[1] > self._clock() - KEPT_S}
            return frozenset(row for (of, by), (row, _) in self._open.items() if of == import_id and by != browser)

    def open_row(self, import_id: int, browser: str, number: int) -> None:
        """Notes that a browser has this row open, and none of the import's others."""
        with self._lock:
            self._open[import_id, browser] = number, self._clock()
