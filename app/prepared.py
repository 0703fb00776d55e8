"""Queries that most pages ask: SQLAlchemy compiles each once, and the driver alone sends it.

SQLAlchemy takes five times as long as the driver to send a compiled query, which was a third of the time of a page. All
else is as with `session.execute`: the session's connection and transaction, values and columns converted by their
types, SQLAlchemy's errors, and its events around the statement, by which slow ones are logged.

Statements are kept for each kind of database, since all databases of one kind have the same tables, and for lists of
1, 4, 16… values: a list is filled up with its last value, so that few statements are compiled and planned.

Queries that do not need each other's rows are sent together: a round trip to PostgreSQL takes longer than most of them.
"""

from collections import namedtuple
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from typing import Any, Generic, TypeAlias, TypeVar

from sqlalchemy import Connection, Dialect, PoolProxiedConnection, SelectBase
from sqlalchemy.engine.interfaces import DBAPICursor
from sqlalchemy.exc import DBAPIError
from sqlalchemy.orm import Session

R = TypeVar("R")
AnyRow: TypeAlias = Any  # a named tuple of the columns of a query without a class for its rows
Values: TypeAlias = Mapping[str, object]
Bound: TypeAlias = tuple[object, ...] | dict[str, object]
Rows: TypeAlias = Sequence[Sequence[object]]


class _Statement:
    """A query as one kind of database takes it, for lists of one length each."""

    def __init__(self, query: SelectBase, dialect: Dialect, values: Values) -> None:
        compiled: Any = query.compile(dialect=dialect)  # typed without the methods of the compiler of SQL
        state = compiled.construct_expanded_state(values)
        self.sql: str = state.statement
        self.order: Sequence[str] | None = state.positiontup
        self.of_lists: Mapping[str, list[str]] = state.parameter_expansion
        self.constants = {name: value for name, value in state.parameters.items() if name not in values}
        binds = {name: bind.type.dialect_impl(dialect) for name, bind in compiled.binds.items()}
        self.to_driver = {n: convert for n, own in binds.items() if (convert := own.bind_processor(dialect))}
        columns = enumerate(column.type.dialect_impl(dialect) for column in query.selected_columns)
        self.how = {"prepare": True} if dialect.driver == "psycopg" else {}  # the first time, and not the sixth
        self.from_driver = [(at, convert) for at, own in columns if (convert := own.result_processor(dialect, None))]

    def bind(self, values: Values) -> Bound:
        """Returns the values as the driver takes them: in their order, or by name."""
        bound = dict(self.constants)
        for name, value in values.items():
            if isinstance(value, list):
                bound.update(zip(self.of_lists[name], value, strict=True))
            else:
                bound[name] = self.to_driver[name](value) if name in self.to_driver else value
        return bound if self.order is None else tuple([bound[name] for name in self.order])

    def execute(self, driver: PoolProxiedConnection, bound: Bound) -> DBAPICursor:
        cursor = driver.cursor()
        cursor.execute(self.sql, bound, **self.how)
        return cursor

    def convert(self, rows: Rows) -> Rows:
        return [self._convert(row) for row in rows] if self.from_driver else rows

    def _convert(self, row: Sequence[object]) -> Sequence[object]:
        values = list(row)
        for at, convert in self.from_driver:
            values[at] = convert(values[at])
        return values


def _send(connection: Connection, statements: Sequence[tuple[_Statement, Values]]) -> list[Rows]:
    """Returns the rows of each statement, all sent in one round trip where the driver can."""
    if connection.dialect.driver == "psycopg" and len(statements) > 1:
        return _send_in_one_trip(connection, statements)
    found: list[Rows] = []
    for statement, values in statements:
        bound = statement.bind(values)
        with _surround_execution(connection, statement.sql, bound):
            found.append(statement.execute(connection.connection, bound).fetchall())
    return [statement.convert(rows) for (statement, _), rows in zip(statements, found, strict=True)]


def _send_in_one_trip(connection: Connection, statements: Sequence[tuple[_Statement, Values]]) -> list[Rows]:
    """To events they are one statement, since nobody knows how long each of them took."""
    driver = connection.connection
    with _surround_execution(connection, ";\n".join(statement.sql for statement, _ in statements), None):
        with driver.pipeline():
            cursors = [statement.execute(driver, statement.bind(values)) for statement, values in statements]
        found = [cursor.fetchall() for cursor in cursors]
    return [statement.convert(rows) for (statement, _), rows in zip(statements, found, strict=True)]


@contextmanager
def _surround_execution(connection: Connection, sql: str, bound: Bound | None) -> Iterator[None]:
    """Sends SQLAlchemy's events before and after an execution, and raises its error in place of the driver's."""
    events = connection.engine.dispatch  # the connection's own would be put together anew for each request
    told = (sql, bound, None, False)  # no context of an execution, not many at once
    for listener in events.before_cursor_execute:
        listener(connection, None, *told)
    kind = connection.dialect.loaded_dbapi.Error
    try:
        yield
    except kind as error:
        cause = _find_cause(error)
        if connection.dialect.is_disconnect(error, connection.connection.dbapi_connection, None):
            connection.exec_driver_sql("SELECT 1")  # fails as well: SQLAlchemy then drops the pool's connections
        raise DBAPIError.instance(sql, bound, cause, kind, dialect=connection.dialect) from cause
    for listener in events.after_cursor_execute:
        listener(connection, None, *told)


def _find_cause(error: BaseException) -> Exception:
    """Returns the error of the statement that failed, where the driver raises those of the ones it gave up after it."""
    while type(error).__name__ == "PipelineAborted" and error.__context__ is not None:
        error = error.__context__
    assert isinstance(error, Exception)
    return error


class Prepared(Generic[R]):
    """A query whose rows are named tuples, of the class given or of one made of its columns."""

    def __init__(self, query: SelectBase, row: type[R] | None = None) -> None:
        self.query = query
        names = query.selected_columns.keys()
        made: Any = row or namedtuple("Row", names)
        assert list(made._fields) == names, "a row has the columns of its query in their order"
        self.make = made._make
        self.statements: dict[tuple[object, ...], _Statement] = {}

    def ask(self, **values: object) -> "Asked[R]":
        """Returns the query with its values, to be fetched with others."""
        return Asked(self, values)

    def fetch(self, of: Session | Connection, **values: object) -> list[R]:
        """Returns every row for these values."""
        return self.ask(**values).fetch(of)

    def fetch_one(self, of: Session | Connection, **values: object) -> R | None:
        """Returns the first row, or None."""
        rows = self.fetch(of, **values)
        return rows[0] if rows else None


class Asked(Generic[R]):
    """A query with its values; `rows` are there once it was fetched."""

    rows: list[R]

    def __init__(self, query: Prepared[R], values: Mapping[str, object]) -> None:
        self.query = query
        self.values = {name: _fill(value) if isinstance(value, list) else value for name, value in values.items()}

    def find_statement(self, dialect: Dialect) -> _Statement:
        """Returns the statement of this kind of database, compiled the first time."""
        known = self.query.statements
        kind = (dialect.name, *[len(value) for value in self.values.values() if isinstance(value, list)])
        if kind not in known:
            known[kind] = _Statement(self.query.query, dialect, self.values)
        return known[kind]

    def take(self, rows: Rows) -> None:
        """Keeps what the driver found as rows of the query's class."""
        self.rows = [self.query.make(row) for row in rows]

    def fetch(self, of: Session | Connection) -> list[R]:
        """Returns every row; what a session has not written yet is written first, as by `session.execute`."""
        fetch_together(of, self)
        return self.rows


AnyAsked: TypeAlias = Asked[AnyRow]


def fetch_together(of: Session | Connection, *asked: AnyAsked) -> None:
    """Fetches queries that do not need each other's rows: PostgreSQL is sent all in one round trip."""
    if isinstance(of, Session) and of.autoflush:
        of.flush()
    connection = of if isinstance(of, Connection) else of.connection()
    statements = [(each.find_statement(connection.dialect), each.values) for each in asked]
    for each, rows in zip(asked, _send(connection, statements), strict=True):
        each.take(rows)


def _fill(values: list[object]) -> list[object]:
    """Repeats the last value up to the next power of four; no query of ours is changed by a value said twice."""
    if not values:
        return values
    exponent = ((len(values) - 1).bit_length() + 1) // 2
    return values + values[-1:] * ((1 << 2 * exponent) - len(values))
