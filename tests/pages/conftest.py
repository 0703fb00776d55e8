"""The pages of a shop in which nobody writes, each fetched once for all tests that only look."""

from collections.abc import Callable, Iterator
from functools import cache

import pytest
from httpx import Response

from app.main import create_app
from app.settings import Settings
from tests.conftest import Client, Databases

Look = Callable[[str], Response]


@pytest.fixture(scope="session")
def look(all_databases: dict[str, Databases]) -> Iterator[Look]:
    databases = all_databases["sqlite"]
    url = databases.copied(databases.demo)
    app = create_app(Settings(database_url=url, hosts="shop.test"))
    client = Client(app).sign_in()
    yield cache(client.get)
    client.close()
    app.state.engine.dispose()
    databases.drop(url)
