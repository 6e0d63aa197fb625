"""Read tables under upkeep: held against the log and made again from it, while the park is up."""

import psycopg
import pytest
import uvloop

from deploy import upkeep
from tests.databases import Databases
from tests.integration.live import serving

pytestmark = [pytest.mark.anyio, pytest.mark.timeout(120)]


@pytest.fixture
def anyio_backend():
    return "asyncio"


NEVER = """
UPDATE projection.state SET state = convert_to(replace(convert_from(state, 'UTF8'), ':18', ':8'), 'UTF8')
WHERE tag = 'person:ben'
"""
EARLIER = "UPDATE projection.state s SET state = e.state FROM earlier e WHERE s.tag = 'person:ben' AND e.tag = s.tag"
TAKEN_OUT = "DELETE FROM projection.state WHERE tag = 'person:ben'"
SLIPPED_IN = """
INSERT INTO projection.state
SELECT generation, 'person:cyd', position, state FROM projection.state WHERE tag = 'person:ben'
"""
REGISTERED, SIGNED = "position 2 (registration.person_registered)", "position 3 (registration.waiver_signed)"
TAMPERED = {
    "a state that never was": (
        NEVER,
        f"the row of person:ben is what the log says at no point, from its first event on, {REGISTERED}",
    ),
    "an earlier state": (
        EARLIER,
        f"the row of person:ben and the log part at {SIGNED}; after position 2 they were the same",
    ),
    "a row taken out": (TAKEN_OUT, f"person:ben has no row, though the log tells of it from {REGISTERED} on"),
    "a row slipped in": (SLIPPED_IN, "there is a row of person:cyd, of which the log tells nothing"),
}


@pytest.fixture(scope="module")
def park(databases: Databases, nats_urls):
    """A park with two people, whose earlier rows were kept before the second signed."""
    database = databases.create()
    with serving(database, nats_urls) as live, psycopg.connect(database.admin_url, autocommit=True) as superuser:
        for person in ("ada", "ben"):
            assert live.post("registration/register-person", {"person": person, "age_band": 18}).status_code == 201
        assert uvloop.run(upkeep.check_all(database.url, print))
        superuser.execute("CREATE TABLE earlier AS TABLE projection.state")
        assert live.post("registration/sign-waiver", {"person": "ben", "wording": "w1"}).status_code == 201
        yield live, database, superuser
    databases.drop(database)


@pytest.mark.parametrize("how", TAMPERED)
async def test_the_event_is_named_after_which_rows_and_log_part_and_a_rebuild_mends_it(park, how):
    live, database, superuser = park
    statement, sentence = TAMPERED[how]
    told: list[str] = []
    assert await upkeep.check_all(database.url, told.append)
    assert superuser.execute(statement).rowcount == 1
    assert not await upkeep.check_all(database.url, told.append)
    assert f"{live.park} clearance: {sentence}" in told
    await upkeep.rebuild_all(database.url, told.append)
    assert await upkeep.check_all(database.url, told.append)
