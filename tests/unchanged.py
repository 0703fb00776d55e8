"""Whether a test left its PostgreSQL database as it was lent: making one takes longer than most tests."""

import psycopg
from sqlalchemy import make_url

_OBJECTS = """SELECT 'objects', concat_ws(' ', (SELECT count(*) FROM pg_proc WHERE pronamespace = 'public'::regnamespace),
(SELECT count(*) FROM pg_trigger), (SELECT string_agg(oid::text || coalesce(relacl::text, ''), ' ' ORDER BY oid)
FROM pg_class WHERE relnamespace = 'public'::regnamespace),
(SELECT count(*) FROM pg_db_role_setting), (SELECT count(*) FROM pg_constraint))"""


class Unchanged:
    """What a database held when it was made: every row, the objects of its schema, and its sequences."""

    def __init__(self, url: str) -> None:
        with _connect(url) as connection:
            listed = "SELECT tablename FROM pg_tables WHERE schemaname = 'public' ORDER BY 1"
            tables = [row[0] for row in connection.execute(listed)]
            rows = [f"SELECT '{t}', md5(string_agg(t::text, '|' ORDER BY t::text)) FROM \"{t}\" t" for t in tables]
            self.query = " UNION ALL ".join([*rows, _OBJECTS]).encode()
            self.held = sorted(connection.execute(self.query).fetchall())
            self.last_line = connection.execute("SELECT max(id) FROM change").fetchone()
            sequences = connection.execute("SELECT sequencename, last_value FROM pg_sequences").fetchall()
        reset = [f"setval('\"{name}\"', {last or 1}, {str(last is not None).lower()})" for name, last in sequences]
        self.reset = f"SELECT {', '.join(reset)}".encode()

    def give_back(self, url: str) -> bool:
        """Whether a copy holds the same again once sign-ins and their lines of history are removed; ids start over."""
        try:
            with _connect(url) as connection:
                connection.execute("DELETE FROM sign_in")
                connection.execute("DELETE FROM change WHERE id > %s", self.last_line)
                is_unchanged = sorted(connection.execute(self.query).fetchall()) == self.held
                connection.execute(self.reset)
        except psycopg.Error:  # of another schema since a migration was tested in it
            return False
        return is_unchanged


def _connect(url: str) -> psycopg.Connection[tuple[str, ...]]:
    return psycopg.connect(make_url(url).set(drivername="postgresql").render_as_string(hide_password=False))
