"""Compares every row of a ball's drillings before and after an action with the lines of history written in between."""

import re
from collections.abc import Iterable, Sequence
from typing import Any, cast

from sqlalchemy import ColumnElement, Row, Table, func, select, type_coerce
from sqlalchemy.orm import Session
from sqlalchemy.types import NullType

from app.closed_sets import STOP_DECISION_WORDS
from app.measures.wording import exact
from app.models import Base, BenchStop, Bore, Change, Drilling, DrillingStep, Inner, Measurement
from app.services.changes import MADE, format_value

Record = dict[str, Any]
Line = Row[*tuple[object, ...]]
Rows = dict[tuple[str, int], Record]
Lines = Sequence[Line]

# Columns without a line of their own, and what explains them.
DERIVED = {
    "version": "counts changes",
    "as_met": "worked out of steps and stops, whose lines tell what was met and decided",
    "typed": "the texts of values that have lines; compared where a step is",
    "bore_id": "the bore's own first line",
    "inner_id": "the inner's own first line, or chosen with the plan",
}
_change = Change.__table__.c


def _table(model: type[Base]) -> Table:
    table = model.__table__
    assert isinstance(table, Table)
    return table


class Ledger:
    """The rows as last seen, every line of history, and every reading that was ever accepted."""

    def __init__(self) -> None:
        self.rows: Rows = {}
        self._raw: dict[tuple[str, int], tuple[object, ...]] = {}
        self._parsed: Rows = {}
        self.readings: list[str] = []
        self.texts: list[str] = []
        self._new: list[Line] = []
        self._last = 0

    def read(self, session: Session, ball_id: int) -> Rows:
        """Reads the rows of a ball, and the lines of history since the last time."""
        if not self._last:
            self._last = session.scalar(select(func.max(_change.id))) or 0
        drilled = self._read(session, Drilling, Drilling.ball_id == ball_id)
        ids = [key[1] for key in drilled]
        rows = dict(drilled)
        for model in (DrillingStep, BenchStop, Measurement):
            rows |= self._read(session, model, model.drilling_id.in_(ids))
        rows |= self._read(session, Bore, Bore.id.in_({r["bore_id"] for r in drilled.values()} - {None}))
        rows |= self._read(session, Inner, Inner.id.in_({r["inner_id"] for r in drilled.values()} - {None}))
        lines = session.execute(select(Change.__table__).where(_change.id > self._last).order_by(_change.id)).all()
        self._new = [line for line in lines if line.noun not in ("staff", "ball", "bowler")]
        self._last = lines[-1].id if lines else self._last
        self.texts += [text for line in self._new for text in (line.old, line.new, line.why) if text]
        self.rows = rows
        return rows

    def _read(self, session: Session, model: type[Base], where: ColumnElement[bool]) -> Rows:
        """Reads rows as they are stored, their id first, and parses those that changed."""
        table = _table(model)
        stored: list[ColumnElement[object]] = [type_coerce(column, NullType()) for column in table.c]
        found = session.execute(select(*stored).where(where)).all()
        raw: dict[tuple[str, int], tuple[object, ...]] = {(table.name, cast(int, row[0])): tuple(row) for row in found}
        changed = [key[1] for key, row in raw.items() if self._raw.get(key) != row]
        if changed:
            parsed = session.execute(select(table).where(table.c.id.in_(changed))).mappings()
            self._parsed |= {(table.name, row["id"]): dict(row) for row in parsed}
        self._raw |= raw
        return {key: self._parsed[key] for key in raw}

    def forget(self) -> None:
        """Begins with another ball."""
        self.rows, self.readings, self.texts = {}, [], []

    def keep(self, readings: Iterable[str]) -> None:
        self.readings += readings

    def compare(self, before: Rows, after: Rows, who: int, is_accepted: bool) -> list[str]:
        """Returns what is wrong: a row that nobody explains, a lost reading, a change by a refused form."""
        changed = {key: row for key, row in after.items() if before.get(key) != row}
        wrong = [f"{key} is gone" for key in before.keys() - after.keys() if key[0] != "inner"]
        if not is_accepted:
            return (
                wrong + [f"refused, but {key} changed" for key in changed] + [f"refused: {x.field}" for x in self._new]
            )
        wrong += [f"{line.field} is not by {who}" for line in self._new if line.staff_id != who]
        for key, row in changed.items():
            explain = _explain_new if key not in before else _EXPLAIN.get(key[0], _explain_columns)
            wrong += explain(key, before.get(key, {}), row, self._new)
        return wrong + self._list_lost(after)

    def _list_lost(self, rows: Rows) -> list[str]:
        kept = set(self.texts)
        for row in rows.values():
            kept |= (
                {str(text) for text in (row.get("typed") or {}).values()}
                if isinstance(row.get("typed"), dict)
                else set()
            )
            kept |= {str(row.get(name, "")) for name in ("typed", "met_bit")}
        joined = "\n".join(kept)
        return [f"lost: {text}" for text in self.readings if text not in joined]


def _explain_new(key: tuple[str, int], _old: Record, row: Record, lines: Lines) -> list[str]:
    """A new record has its first line; a step comes with its drilling, a stop and a measurement with a line of it."""
    noun, own_id = key
    if noun == "drilling_step":
        return _require(any(x.noun == "drilling" and x.field == MADE for x in lines), key, "made")
    if noun == "bench_stop":
        told = [x.new for x in lines if x.field == f"stop at step {row['position']}"]
        return _require(format_value("; ".join(row["lines"])) in told, key, "made")
    if noun == "measurement":
        texts = (row["typed"], format_value(row["value_in"]))
        told = [x.new for x in lines if x.noun in ("drilling", "inner")]
        return _require(any(text in new for new in told for text in texts), key, "made")
    if noun == "inner" and not any(x.noun == "bore" and x.field == MADE for x in lines):
        return []  # owned: chosen with the plan
    return _require(any((x.noun, x.noun_id, x.field) == (noun, own_id, MADE) for x in lines), key, "made")


def _explain_columns(key: tuple[str, int], old: Record, row: Record, lines: Lines) -> list[str]:
    """Each changed value has a line of its own, with the old and the new one."""
    told = {(x.noun, x.noun_id, x.field, x.old, x.new) for x in lines}
    return [
        f"{key} {name}: {old[name]} to {row[name]}"
        for name in row
        if old[name] != row[name] and name not in DERIVED
        if (*key, name, format_value(old[name]), format_value(row[name])) not in told
    ]


def _explain_step(key: tuple[str, int], old: Record, row: Record, lines: Lines) -> list[str]:
    """A step's line tells what was met, skipped or taken back as typed; new numbers and paper name their steps."""
    own = [x for x in lines if x.field.startswith(f"step {row['position']}:") or x.field.startswith("depth of the ")]
    numbered = {n for x in lines if x.field == "numbers of open steps" for n in re.findall(r"\d+", x.new)}
    on_paper = {n for x in lines if x.field == "open steps" for n in re.findall(r"\d+", x.new)}
    changed = {name for name in row if old[name] != row[name]}
    if str(row["position"]) in on_paper:
        changed -= {"ticked_at", "staff_id", "note"}
    wrong = []
    if "numbers" in changed:
        wrong += _require(str(row["position"]) in numbered, key, "numbers")
    for given, side in ((row, "new"), (old, "old")):
        other = old if side == "new" else row
        texts = [t for n, t in given["typed"].items() if other["typed"].get(n) != t and t != "unknown"]
        texts += [given[n] for n in ("met_bit", "note", "skip_reason") if n in changed and given[n]]
        told = " ".join(f"{getattr(x, side)} {x.why}" for x in own)
        wrong += [f"{key} {side}: {text}" for text in texts if text not in told]
    return wrong + (_require(bool(own), key, ", ".join(sorted(changed))) if changed - {"numbers"} else [])


def _explain_stop(key: tuple[str, int], old: Record, row: Record, lines: Lines) -> list[str]:
    """A stop's line tells how it goes on, why, how thick the shim is and which change of the plan was chosen."""
    own = [x for x in lines if x.field == f"stop at step {row['position']}"]
    told = " ".join(f"{x.new} {x.why}" for x in own)
    texts = {
        "decision": STOP_DECISION_WORDS.get(row["decision"], ""),
        "reason": row["reason"],
        "handed_over": row["handed_over"],
        "shim_in": exact(row["shim_in"]) if row["shim_in"] is not None else "",
        "typed": (row["typed"] or {}).get("fix", "").partition("=")[2],
    }
    return [f"{key} {n}: {text}" for n, text in texts.items() if old[n] != row[n] and text not in told] + _require(
        bool(own), key, "stop"
    )


def _require(is_told: bool, key: tuple[str, int], what: str) -> list[str]:
    return [] if is_told else [f"{key} {what}: no line"]


_EXPLAIN = {"drilling_step": _explain_step, "bench_stop": _explain_stop}
