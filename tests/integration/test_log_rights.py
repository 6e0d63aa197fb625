"""What the database itself refuses, whoever asks."""

import asyncpg
import pytest

from tests.integration.log_park import append, draft, opened

pytestmark = [pytest.mark.anyio, pytest.mark.timeout(60)]

HISTORY = ("event", "event_tag", "request")
CHANGES = ("UPDATE log.{} SET park = park", "DELETE FROM log.{}", "TRUNCATE log.{}")


@pytest.fixture
def anyio_backend():
    return "asyncio"


@pytest.fixture
async def recorded(database):
    """The database of a log with one event."""
    async with opened(database.url) as log:
        await log.append(append(draft("player:1")))
    return database


@pytest.fixture
async def service(recorded):
    connection = await asyncpg.connect(recorded.url)
    yield connection
    await connection.close()


@pytest.fixture
async def owner(recorded):
    connection = await asyncpg.connect(recorded.admin_url)
    yield connection
    await connection.close()


@pytest.mark.parametrize("table", HISTORY)
@pytest.mark.parametrize("change", CHANGES)
async def test_the_service_role_has_no_right_to_change_history(service, table, change):
    with pytest.raises(asyncpg.InsufficientPrivilegeError, match="permission denied"):
        await service.execute(change.format(table))


@pytest.mark.parametrize("session", ["origin", "replica"])
@pytest.mark.parametrize("table", HISTORY)
@pytest.mark.parametrize("change", CHANGES)
async def test_a_superuser_is_stopped_from_changing_history(owner, table, change, session):
    await owner.execute(f"SET session_replication_role = {session}")
    with pytest.raises(asyncpg.InsufficientPrivilegeError, match="is history"):
        await owner.execute(change.format(table))
    assert await owner.fetchval(f"SELECT count(*) FROM log.{table}") == 1  # noqa: S608 - one of three names


@pytest.mark.parametrize(
    "change",
    [
        "DELETE FROM log.park_head",
        "UPDATE log.park_head SET epoch = 2",
        "DELETE FROM log.device",
        "UPDATE log.device SET park = 'south'",
        "UPDATE log.device SET id = 'kiosk-2'",
        "UPDATE log.device SET name = 'Another'",
        "CREATE TABLE log.other ()",
        "ALTER TABLE log.event DISABLE TRIGGER ALL",
        "SET session_replication_role = replica",
    ],
)
async def test_the_service_role_has_only_the_rights_that_it_needs(service, change):
    with pytest.raises(asyncpg.InsufficientPrivilegeError):
        await service.execute(change)


async def test_a_device_can_be_enrolled_and_revoked_by_the_service(service):
    await service.execute(
        "INSERT INTO log.device VALUES ('north', 'kiosk-1', 'Gate', '{desk}', 'gate', '\\x00', now())"
    )
    await service.execute("UPDATE log.device SET revoked_at = now() WHERE park = 'north' AND id = 'kiosk-1'")
    assert await service.fetchval("SELECT revoked_at IS NOT NULL FROM log.device WHERE id = 'kiosk-1'")


@pytest.mark.parametrize("isolation", ["repeatable_read", "serializable"])
async def test_append_refuses_an_isolation_in_which_it_could_not_see_what_was_committed_before_the_lock(
    service, isolation
):
    empty = ", ".join(["'{}'"] * 16)
    with pytest.raises(asyncpg.InvalidTransactionStateError, match="READ COMMITTED"):
        async with service.transaction(isolation=isolation):
            await service.execute(f"SELECT log.append('north', now(), {empty})")
    assert await service.fetch(f"SELECT log.append('north', now(), {empty})") == []
