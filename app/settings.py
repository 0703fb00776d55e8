"""The one setting: where the shop's database is."""

from pathlib import Path

from platformdirs import user_data_path
from pydantic_settings import BaseSettings, SettingsConfigDict

ROOT = Path(__file__).resolve().parent.parent


def default_database_url() -> str:
    """SQLite in the user's data folder."""
    return f"sqlite:///{user_data_path('spanbook', appauthor=False) / 'spanbook.db'}"


class Settings(BaseSettings):
    model_config = SettingsConfigDict(env_prefix="SPANBOOK_")

    database_url: str = ""

    @property
    def url(self) -> str:
        return self.database_url or default_database_url()
