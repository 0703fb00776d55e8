"""Restore, import, export and copy are killed at their steps, and find no room: the shop is whole, and told what was."""

import hashlib
import json
import re
import shutil
import sqlite3
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from app.db import file_of, open_engine
from app.services import backups, portable, rebuilds, restores
from tests.conftest import Databases, not_none
from tests.endurance.doomed import FILES

COMMANDS = ("restore", "import", "export", "backup")
KILLS = {"sqlite": 12, "postgresql": 4}  # of each command
MENDED = ("", "finished", "undone")
MB = 1 << 20
ROOM = (0, 4096, 16_384, 65_536, 160_000, 360_000, 500_000, 740_000, 900_000, 16 * MB)  # the last is enough
NO_ROOM = re.compile(r"disk is full|No space left|File too large|disk I/O error")


class Doomed:
    """Starts commands that are to be killed or to find no room."""

    def __init__(self, empty: str) -> None:
        self.empty = empty
        self.process = subprocess.Popen(
            [sys.executable, "-m", "tests.endurance.doomed"], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
        )

    def run(self, url: str, *words: object, **how: Any) -> dict[str, Any]:
        env = {"SPANBOOK_DATABASE_URL": url, "SPANBOOK_BACKUPS_KEPT": "3"} | how.pop("env", {})
        asked = {"do": [str(word) for word in words], "env": env, "empty": self.empty, **how}
        not_none(self.process.stdin).write(json.dumps(asked) + "\n")
        not_none(self.process.stdin).flush()
        answer: dict[str, Any] = json.loads(not_none(self.process.stdout).readline())
        return answer

    def end(self) -> None:
        not_none(self.process.stdin).close()
        self.process.wait(30)
        not_none(self.process.stdout).close()


@pytest.fixture(scope="module")
def doomed(all_databases: dict[str, Databases]) -> Iterator[Doomed]:
    made = Doomed(all_databases["sqlite"].empty)
    yield made
    made.end()


def told(url: str) -> str:
    """A hash of everything in a database; SQLite's own checks pass first."""
    file = file_of(url)
    if file:
        with closing(sqlite3.connect(file)) as connection:
            assert connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)
            assert connection.execute("PRAGMA foreign_key_check").fetchall() == []
    return hashlib.sha256("\n".join(rebuilds.export_from(url)).encode()).hexdigest()


@dataclass(frozen=True)
class Origin:
    """The demo shop on one kind of database: a backup and an export of it, and hashes of it and of an empty one."""

    copy: Path
    lines: Path
    demo: str
    empty: str

    @classmethod
    def make(cls, databases: Databases, folder: Path) -> "Origin":
        demo, empty = databases.copied(databases.demo), databases.copied(databases.empty)
        copy, lines = backups.make_backup(demo, folder), folder / "all.jsonl"
        rebuilds.write_lines(lines, rebuilds.export_from(demo))
        made = cls(copy, lines, told(demo), told(empty))
        databases.drop(demo)
        databases.drop(empty)
        return made


@pytest.fixture(scope="module")
def origins(
    all_databases: dict[str, Databases], tmp_path_factory: pytest.TempPathFactory
) -> Callable[[Databases], Origin]:
    """Makes the origin of a kind of database at its first use, once for all worlds."""
    return cache(lambda databases: Origin.make(databases, tmp_path_factory.mktemp(databases.kind)))


class World:
    """A database in a folder of its own, and what the commands are to do with it."""

    def __init__(self, databases: Databases, name: str, folder: Path, origin: Origin) -> None:
        self.databases, self.name, self.folder, self.origin = databases, name, folder, origin
        self.is_sqlite = databases.kind == "sqlite"
        self.starts_empty = name == "import" or (name == "restore" and not self.is_sqlite)
        self.disk = folder / "disk"
        self.disk.mkdir()
        self.is_small = not subprocess.run(["mount", "-t", "tmpfs", "-o", "size=64m", "spanbook", self.disk], check=False,
                                           stderr=subprocess.DEVNULL).returncode  # fmt: skip
        self.lines, self.copies, self.url = self.disk / "all.jsonl", self.disk / "copies", ""
        self.after = origin.demo
        self.reset()
        is_shortened = name == "restore" and self.is_sqlite
        self.before = told(self.url) if is_shortened else origin.empty if self.starts_empty else origin.demo

    def reset(self) -> None:
        """As before the command: a shop with one record less than the copy has, or nothing; older files to replace."""
        if self.url:
            self.databases.drop(self.url)
        self.give_room(64 * MB)
        shutil.rmtree(self.disk / "place", ignore_errors=True)
        shutil.rmtree(self.copies, ignore_errors=True)
        (self.disk / "place").mkdir()
        self.lines.write_text("what was there\n")
        before = self.databases.empty if self.starts_empty else self.databases.demo
        if self.is_sqlite:
            self.file = self.disk / "place" / "shop.db"
            shutil.copyfile(before.removeprefix("sqlite:///"), self.file)
            self.url = f"sqlite:///{self.file}"
            if self.name == "restore":
                with closing(sqlite3.connect(self.file)) as connection:
                    connection.execute("DELETE FROM bowler_word")
                    connection.commit()
        else:
            self.url = self.databases.copied(before)

    def give_room(self, room: int) -> dict[str, int]:
        """Leaves so many bytes on the disk; where no small disk can be mounted, no file may grow beyond that."""
        if not self.is_small:
            return {"room": room}
        used = shutil.disk_usage(self.disk).used
        subprocess.run(["mount", "-o", f"remount,size={used + room}", self.disk], check=True)
        return {}

    def end(self) -> None:
        self.databases.drop(self.url)
        if self.is_small:
            subprocess.run(["umount", "-l", self.disk], check=True)

    def words(self) -> tuple[object, ...]:
        what = {"restore": self.origin.copy, "import": self.origin.lines, "export": self.lines}
        return (self.name, what.get(self.name, self.copies))

    def check(self, killed: bool) -> str:
        """The next start: the database is as before or as it was to be, with no litter; answers what it was told."""
        said: list[str] = []
        with restores.hold_in_use(self.url, said.append):
            now = told(self.url)
        assert now in {self.before, self.after}
        if self.is_sqlite:
            litter = {p.name for p in self.file.parent.iterdir()} - {"shop.db", "shop.db.lock", "shop.db.copying"}
            kept = {name for name in litter if ".before-" in name}
            assert {n for n in litter - kept if not n.endswith(("-wal", "-shm"))} == set()
            if self.name == "restore":
                assert len(kept) == (now == self.after)
                assert all(told(f"sqlite:///{self.file.with_name(name)}") == self.before for name in kept)
        self.check_files(killed)
        return said[0] if said else ""

    def check_files(self, killed: bool) -> None:
        if self.name == "export" and self.lines.read_text() != "what was there\n":
            for _ in portable.LineReader(self.lines.read_text().splitlines()).rows():
                pass
        if self.name == "backup" and self.copies.exists():
            for copy in backups.list_backups(self.copies, self.url):
                rebuilds.rebuild(copy.path, self.folder / "tried.db")
            if not killed:
                assert [p for p in self.copies.iterdir() if p.name.startswith(".")] == []


@pytest.fixture(params=COMMANDS)
def world(
    request: pytest.FixtureRequest, databases: Databases, tmp_path: Path, origins: Callable[[Databases], Origin]
) -> Iterator[World]:
    made = World(databases, request.param, tmp_path, origins(databases))
    yield made
    made.end()


def chosen(steps: list[str], kills: int) -> list[int]:
    """Steps to be killed at: every one that changes what a folder holds, as far as they go, and others between them."""
    files = [n for n, name in enumerate(steps, 1) if name in FILES][-kills // 2 :]
    others = [n for n in range(1, len(steps) + 1) if n not in files]
    wanted = kills - len(files)
    return sorted([*files, *(others[i * len(others) // wanted] for i in range(wanted))])


def test_killed_at_each_step_the_shop_is_whole_and_says_what_happened(
    world: World, doomed: Doomed, tell: Callable[[str], None]
) -> None:
    whole = doomed.run(world.url, *world.words())
    assert whole["status"] == 0, whole["said"]
    told_of = dict.fromkeys(MENDED, 0)
    kills = KILLS[world.databases.kind]
    points = chosen(whole["steps"], kills)
    assert len(set(points)) == kills
    for at in points:
        world.reset()
        ended = doomed.run(world.url, *world.words(), at=at)
        assert ended == {"killed": True}
        said = world.check(killed=True)
        told_of[next(word for word in reversed(MENDED) if word in said)] += 1
    if world.is_sqlite and world.name in {"restore", "import"}:
        assert told_of["finished"] > 0
        assert told_of["undone"] > 0
        if at in points[::5] and world.name in {"export", "backup"}:  # the next one goes through, beside what was left
            assert doomed.run(world.url, *world.words())["status"] == 0
            world.check(killed=False)
    tell(f"{kills} kills of {world.name} on {world.databases.kind}, {len(whole['steps'])} steps: {told_of}")


def test_without_room_the_shop_is_whole_and_says_so(world: World, doomed: Doomed) -> None:
    refused = 0
    for room in ROOM if world.is_sqlite else ROOM[::3]:
        world.reset()
        ended = doomed.run(world.url, *world.words(), empty="", **world.give_room(room))  # by the migrations
        world.give_room(64 * MB)
        said = world.check(killed=False)
        assert said == ""  # the command itself has put everything back
        if ended["status"]:
            assert NO_ROOM.search(ended["said"]), ended["said"]
            assert told(world.url) == world.before
            assert world.lines.read_text() == "what was there\n"
            assert backups.list_backups(world.copies, world.url) == []
            refused += 1
    assert ended["status"] == 0, ended["said"]
    assert refused >= (4 if world.is_sqlite else world.name in {"export", "backup"})


FULL = """CREATE FUNCTION no_space() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN RAISE EXCEPTION 'could not extend file "base/1": No space left on device' USING ERRCODE = '53100'; END $$"""


@pytest.mark.parametrize("table", ["shop", "ball", "change", "depth_observation"])
def test_a_full_database_server_leaves_it_empty_and_says_so(
    databases: Databases, empty_url: str, doomed: Doomed, table: str, origins: Callable[[Databases], Origin]
) -> None:
    if databases.kind == "sqlite":
        return  # its disk is the one above
    origin = origins(databases)
    engine = open_engine(empty_url)
    with engine.begin() as connection:
        connection.exec_driver_sql(FULL)
        connection.exec_driver_sql(f"CREATE TRIGGER f BEFORE INSERT ON {table} EXECUTE FUNCTION no_space()")
    engine.dispose()
    for name in ("import", "restore"):
        ended = doomed.run(empty_url, name, origin.lines)
        assert ended["status"] == 1
        assert "The disk is full, so nothing was saved" in ended["said"]
        assert told(empty_url) == origin.empty
