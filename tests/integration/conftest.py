import subprocess
from collections.abc import Iterator

import pytest
import uvloop

from deploy.embedded import BusUrls
from tests.databases import Databases
from tests.integration.demo_day import DemoDay, played, played_once
from tests.integration.live import Live, serving

AGAIN = "demo_day_again"


@pytest.fixture(scope="module")
def live(databases: Databases, nats_urls: BusUrls) -> Iterator[Live]:
    """A park that is up, for the tests of one module."""
    database = databases.create()
    with serving(database, nats_urls) as park:
        yield park
    databases.drop(database)


@pytest.fixture(scope="session")
def demo_day(
    request: pytest.FixtureRequest, databases: Databases, nats_urls: BusUrls, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[DemoDay]:
    """The invented day, played once for all the tests of a run that ask about it. It takes a minute or two."""
    if any(AGAIN in getattr(item, "fixturenames", ()) for item in request.session.items):
        request.getfixturevalue(AGAIN)  # it is to play at the same time
    database = databases.create()
    yield uvloop.run(played(database, nats_urls, tmp_path_factory.mktemp("outside")))
    databases.drop(database)


@pytest.fixture(scope="session")
def demo_day_again() -> Iterator[subprocess.Popen[str]]:
    """The same day in a process of its own."""
    with played_once() as process:
        yield process
