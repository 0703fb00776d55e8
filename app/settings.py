"""The settings, each with a default that runs on SQLite with nothing set."""

import socket
from datetime import timedelta
from pathlib import Path

from platformdirs import user_data_path
from pydantic_settings import BaseSettings, SettingsConfigDict
from sqlalchemy import make_url

from app.access import Lifetime

ROOT = Path(__file__).resolve().parent.parent


def default_database_url() -> str:
    """SQLite in the user's data folder."""
    return f"sqlite:///{user_data_path('spanbook', appauthor=False) / 'spanbook.db'}"


class Settings(BaseSettings):
    model_config = SettingsConfigDict(env_prefix="SPANBOOK_")

    database_url: str = ""
    hosts: str = ""  # further names this server answers to, separated by commas
    idle_minutes: int = 240
    absolute_minutes: int = 24 * 60
    backup_folder: str = ""
    backup_hours: int = 24  # 0: none by itself
    backups_kept: int = 14
    slow_query_ms: int = 200

    @property
    def url(self) -> str:
        return self.database_url or default_database_url()

    @property
    def sign_in_lifetime(self) -> Lifetime:
        return Lifetime(timedelta(minutes=self.idle_minutes), timedelta(minutes=self.absolute_minutes))

    @property
    def host_names(self) -> set[str]:
        """The names a browser may ask for; addresses in figures are always answered, since no name can be rebound."""
        own = socket.gethostname().lower()
        further = {name.strip().lower() for name in self.hosts.split(",") if name.strip()}
        return {"localhost", own, f"{own}.local"} | further

    @property
    def backups(self) -> Path:
        """Where copies go: beside the database unless said otherwise."""
        if self.backup_folder:
            return Path(self.backup_folder)
        database = make_url(self.url).database or ""
        is_file = self.url.startswith("sqlite") and database not in {"", ":memory:"}
        beside = Path(database).parent if is_file else user_data_path("spanbook", appauthor=False)
        return beside / "backups"
