"""Fresh migrated databases on one server, each a copy of a template: making one takes a fraction of a second."""

import itertools
from dataclasses import dataclass, field
from typing import Any
from urllib.parse import urlsplit, urlunsplit

import psycopg

from deploy.migrate import migrate

TEMPLATE = "fieldledger_template"
PASSWORD = "tests-only"  # noqa: S105 - of a server that lives as long as the tests


@dataclass(frozen=True)
class Database:
    """One database: the URL of the role that services use, and that of its owner."""

    url: str
    admin_url: str


@dataclass
class Databases:
    """Makes and drops databases on the server behind a superuser's URL."""

    server_url: str
    service_url: str = field(init=False)
    numbers: Any = field(default_factory=itertools.count)

    def __post_init__(self) -> None:
        self._run(f'CREATE DATABASE "{TEMPLATE}"')
        self.service_url = migrate(renamed(self.server_url, TEMPLATE), PASSWORD)

    def create(self) -> Database:
        name = f"test_{next(self.numbers)}"
        self._run(f'CREATE DATABASE "{name}" TEMPLATE "{TEMPLATE}"')
        return Database(renamed(self.service_url, name), renamed(self.server_url, name))

    def drop(self, database: Database) -> None:
        name = urlsplit(database.admin_url).path.strip("/")
        self._run(f'DROP DATABASE "{name}" WITH (FORCE)')

    def _run(self, statement: str) -> None:
        with psycopg.connect(self.server_url, autocommit=True) as connection:
            connection.execute(statement.encode())


def renamed(url: str, database: str) -> str:
    """The same URL for another database of the same server."""
    return urlunsplit(urlsplit(url)._replace(path=f"/{database}"))
