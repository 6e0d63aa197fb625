"""Read tables under upkeep: held against the log and made again from it, while the park is up."""

import psycopg
import pytest

from deploy import upkeep
from tests.databases import Databases
from tests.integration.live import serving

pytestmark = [pytest.mark.anyio, pytest.mark.timeout(120)]


@pytest.fixture
def anyio_backend():
    return "asyncio"


async def test_a_tampered_row_is_named_and_a_rebuild_mends_it(databases: Databases, nats_urls):
    database = databases.create()
    told: list[str] = []
    with serving(database, nats_urls) as live:
        for person in ("ada", "ben"):
            assert live.post("registration/register-person", {"person": person, "age_band": 18}).status_code == 201
        assert await upkeep.check_all(database.url, told.append)
        with psycopg.connect(database.admin_url, autocommit=True) as connection:
            changed = connection.execute(
                "UPDATE projection.state SET state = convert_to(replace(convert_from(state, 'UTF8'), ':18', ':8'), 'UTF8') "
                "WHERE tag = 'person:ben'"
            )
            assert changed.rowcount == 1
        assert not await upkeep.check_all(database.url, told.append)
        assert f"{live.park} clearance: differs at person:ben, position 2" in told
        await upkeep.rebuild_all(database.url, told.append)
        assert await upkeep.check_all(database.url, told.append)
    databases.drop(database)
