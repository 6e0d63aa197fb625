import os
import signal
import sys
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import pytest
import structlog
from _pytest.nodeid import NodeId

from deploy.embedded import BusUrls
from tests import containers, servers
from tests.databases import Database, Databases


def pytest_configure() -> None:
    """A run that `timeout` ends stops its servers and removes their folders like one that Ctrl-C ends.

    What a server in this process logs stays out of what a command in this process prints.
    """
    signal.signal(signal.SIGTERM, signal.default_int_handler)
    structlog.configure(logger_factory=structlog.PrintLoggerFactory(sys.__stderr__))
    # The servers are on loopback and speak no TLS. To ask them for it, and be broken off meanwhile, leaves an error that the next test would fail by.
    os.environ["PGSSLMODE"] = "disable"


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Share a run's tests out by file, and those who ask about the invented day to one process: it plays it once for all of them.

    That is the longest share, and begins first. Beside it go those that mostly wait for what was killed; what is short comes last.
    """
    ask = {item.path for item in items if "demo_day" in getattr(item, "fixturenames", ())}
    seen = Counter[str]()
    for item in items:
        group = "demo_day" if item.path in ask else str(item.path)
        name = item.nodeid
        seen[name] += 1
        if "PYTEST_XDIST_WORKER" in os.environ:
            # Workers are told a test by its name alone: of those that share one the first would run. And xdist 3.8 writes the group where pytest 9.2 does
            # not look for it, so that each test would go anywhere, and every module's servers be started by every worker.
            item._id = NodeId.parse(f"{name}[{seen[name]}]@{group}" if seen[name] > 1 else f"{name}@{group}")
    items.sort(key=lambda item: (item.path not in ask, _turn(item.path)))


def _turn(path: Path) -> int:
    """The place of a test's folder among those whose tests take long; after them come all others."""
    folders = ("faults", "browser", "integration")
    return folders.index(path.parent.name) if path.parent.name in folders else len(folders)


def pytest_report_header() -> str:
    return f"servers: {'testcontainers' if containers.engine_answers() else 'embedded'}"


@pytest.fixture(scope="session")
def database_url() -> Iterator[str]:
    """A superuser's URL of a real PostgreSQL that this run shares."""
    with servers.database_server() as url:
        yield url


@pytest.fixture(scope="session")
def nats_urls() -> Iterator[BusUrls]:
    """The two URLs of a real NATS server that this run shares: keep apart by park name."""
    with servers.bus_server() as urls:
        yield urls


@pytest.fixture(scope="session")
def databases(database_url: str) -> Databases:
    """Makes fresh migrated databases, for tests that need one for a whole module or several at once."""
    return Databases(database_url)


@pytest.fixture
def database(databases: Databases) -> Iterator[Database]:
    """A fresh migrated database for one test."""
    fresh = databases.create()
    yield fresh
    databases.drop(fresh)
