from collections.abc import Iterator

import pytest

from deploy.embedded import BusUrls
from tests.databases import Databases
from tests.integration.live import Live, serving


@pytest.fixture(scope="module")
def live(databases: Databases, nats_urls: BusUrls) -> Iterator[Live]:
    """A park that is up, for the tests of one module."""
    database = databases.create()
    with serving(database, nats_urls) as park:
        yield park
    databases.drop(database)
