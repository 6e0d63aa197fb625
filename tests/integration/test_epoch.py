"""A new epoch, part by part, on real servers: who may begin it, what the signer asks of it, and who forgets the one before."""

from datetime import UTC, datetime
from uuid import UUID

import asyncpg
import pytest

from contracts.leaf import decode
from contracts.problems import Unavailable
from deploy import restore
from deploy.commands import restore as command
from services.core import generations
from services.core.clock import SystemClock
from services.core.fold import Fold
from services.core.log import Behind, Head
from services.core.park import Park
from services.core.rebuild import check
from services.core.track import NotNext, Track
from services.evidence.lookout import Lookout
from services.evidence.outside import Outside
from services.evidence.restoration import NotRestored
from services.evidence.rounds import NotSigned
from services.vault.safe import Vault
from services.vault.states import Erasure
from tests.integration.bus_park import running
from tests.integration.evidence_park import head_of, opened
from tests.integration.test_projector import Counts
from tests.integration.test_signer import CUT

pytestmark = [pytest.mark.anyio, pytest.mark.timeout(120)]

BACK = (
    CUT,
    "ALTER TABLE evidence.checkpoint DISABLE TRIGGER history",
    "DELETE FROM evidence.checkpoint WHERE size > 9",
)
"""The database as a dump of it at position 9 had it, the stored tree aside."""
BROUGHT_BACK = """
INSERT INTO vault.detail VALUES ('{park}', gen_random_uuid(), 'ada', 'note-1', 'note', 'sealed', now());
INSERT INTO vault.detail VALUES ('{park}', gen_random_uuid(), 'ben', 'note-2', 'note', 'sealed', now())
"""


@pytest.fixture
def anyio_backend():
    return "asyncio"


@pytest.fixture
async def signing(database, nats_urls, tmp_path):
    """A log of twelve events under two checkpoints, of six and twelve."""
    async with opened(database, nats_urls, tmp_path) as signing:
        await signing.park.record(5)
        await signing.sign()
        await signing.park.record(6)
        await signing.sign()
        yield signing


async def looked(signing, bus=None, projections=()):
    return await restore.look(domain(signing), signing.park.pool, signing.folder, bus, projections)


async def begun(signing, projections=()):
    """A new epoch, as the command begins it."""
    found = await looked(signing, projections=projections)
    admin = signing.park.database.admin_url
    return await restore.begin(found, domain(signing), signing.park.pool, admin, signing.folder, projections, "backup")


def domain(signing):
    return Park(signing.name, signing.log, SystemClock())


async def test_a_stored_tree_that_reaches_beyond_the_backup_is_made_again(signing):
    await signing.as_owner(*BACK)
    assert (await looked(signing)).tree
    assert await begun(signing) == 10
    newest = head_of(await signing.sign())
    assert (newest.epoch, newest.size) == (2, 11)


async def test_an_epoch_whose_first_checkpoint_cannot_be_signed_has_begun_and_the_reason_is_told(signing):
    await signing.as_owner(*BACK)
    assert await begun(signing) == 10
    signing.exchange("no note at all\n")
    said = await command.first_checkpoint(domain(signing), signing.outside, signing.park.database.url)
    assert said.startswith("No checkpoint of it is signed yet: ")
    assert said.endswith("fieldledger audit checkpoint --sign")
    assert (await signing.log.head()).epoch == 2


async def test_nothing_is_begun_on_a_log_that_was_changed_before_it_was_brought_back(signing):
    changed = "UPDATE log.event SET leaf = overlay(leaf PLACING '\\x7a'::bytea FROM 60) WHERE position = 3"
    await signing.as_owner(*BACK, changed)
    with pytest.raises(NotRestored, match="The first 6 events are not those that were signed"):
        await looked(signing)


async def test_an_epoch_that_was_raised_without_an_event_that_says_so_is_not_signed(signing):
    await signing.as_owner(*BACK, "DELETE FROM evidence.tile", "UPDATE log.park_head SET epoch = 2")
    with pytest.raises(NotSigned, match="holds no event with which that began"):
        await signing.sign()


async def test_a_history_that_was_rewritten_under_the_cover_of_a_new_epoch_is_not_signed(signing):
    await signing.as_owner(*BACK)
    await begun(signing)
    changed = "UPDATE log.event SET leaf = overlay(leaf PLACING '\\x7a'::bytea FROM 60) WHERE position = 3"
    await signing.as_owner(changed, "DELETE FROM evidence.tile")
    with pytest.raises(NotSigned, match="The first 6 events are not those that were signed before epoch 2 began"):
        await signing.sign()


async def test_an_epoch_begins_only_where_the_log_was_seen_to_end_and_whole(signing):
    await signing.as_owner(*BACK)
    found = await looked(signing)
    await signing.park.record(1)
    admin = signing.park.database.admin_url
    with pytest.raises(asyncpg.ObjectNotInPrerequisiteStateError, match="does not end at position 9"):
        await restore.begin(found, domain(signing), signing.park.pool, admin, signing.folder, (), "backup")
    assert await signing.log.head() == Head(1, 10)


async def test_whoever_was_erased_is_unreadable_before_the_park_goes_on(signing, monkeypatch):
    await signing.as_owner(*BACK, *BROUGHT_BACK.format(park=signing.name).split(";"))
    vault = Vault(signing.park.pool, signing.folder, signing.name)
    vault.outside.record([Erasure("ada", UUID(int=1), datetime(2026, 5, 9, tzinfo=UTC))])

    async def broken_off(*_):
        raise ConnectionError

    monkeypatch.setattr(restore, "_record", broken_off)
    with pytest.raises(ConnectionError):
        await begun(signing)
    assert await vault.details("ada") == {}
    assert await vault.details("ben") != {}


async def test_an_epoch_whose_first_event_cannot_be_recorded_has_not_begun(signing):
    await signing.as_owner(*BACK)
    taken = decode((await signing.park.leaves())[0].leaf)
    owner = await asyncpg.connect(signing.park.database.admin_url)
    now = datetime.now(UTC)
    row = (signing.name, 9, 2, now, taken.id, "terminal", b"", "evidence.epoch_begun", now.date(), "evidence", b"{}")
    with pytest.raises(asyncpg.UniqueViolationError):
        await owner.fetchval("SELECT log.begin_epoch($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11)", *row)
    await owner.close()
    assert await signing.log.head() == Head(1, 9)


async def test_what_only_the_bus_knows_is_lost_as_well(signing):
    async with running(signing.park.relay().run()):
        await signing.park.record(8)
        await signing.park.relayed()
    await signing.as_owner(*BACK)
    found = await looked(signing, signing.park.service_bus)
    assert (found.loss.first, found.loss.last) == (10, 20)
    assert "The bus holds epoch 1 up to position 20." in found.ends


async def test_while_the_log_lacks_what_is_known_nothing_is_decided_and_nothing_recorded(signing):
    lookout = Lookout(signing.log, signing.outside, signing.park.service_bus)
    await lookout.look()
    await signing.park.record(1)
    await signing.sign()
    await lookout.look()
    await signing.park.record(1)
    await signing.as_owner(*BACK)
    await lookout.look()
    with pytest.raises(Behind, match="known up to position 13 of epoch 1"):
        await signing.park.record(1)
    with pytest.raises(Unavailable, match="nobody is cleared"):
        await domain(signing).load(lambda _: ())
    signing.log.behind = ""  # as in the terminal of whoever restores
    await begun(signing)
    signing.log.behind = "closed"
    await lookout.look()
    await signing.park.record(1)


async def test_a_lookout_without_a_bus_and_without_checkpoints_keeps_nobody_from_recording(signing, tmp_path):
    lookout = Lookout(signing.log, Outside(tmp_path / "empty", signing.name), None)
    signing.log.behind = "closed"
    await lookout.look()
    assert signing.log.behind == ""


async def test_rows_that_have_taken_in_what_is_lost_are_made_again(signing):
    track = Track(Counts(), signing.name, signing.park.pool)
    await track.replay(signing.log)
    await signing.as_owner(*BACK)
    assert (await looked(signing, projections=[Counts()])).rows == (Counts().name,)
    await begun(signing, [Counts()])
    await signing.park.record(5)
    assert await check(Counts(), signing.log, signing.park.pool) is None
    async with signing.park.pool.connection() as connection:
        assert await generations.astray(connection, signing.name) == set()


async def test_rows_of_a_lost_life_are_known_even_where_the_new_one_is_longer(signing):
    track = Track(Counts(), signing.name, signing.park.pool)
    await track.replay(signing.log)
    await signing.as_owner(*BACK)
    await begun(signing)
    await signing.park.record(20)
    async with signing.park.pool.connection() as connection:
        assert await generations.astray(connection, signing.name) == {Counts().name}


async def test_what_the_old_stream_delivers_is_not_taken_for_the_new_logs(signing):
    lost = [decode(row.leaf) for row in await signing.park.leaves()]
    await signing.as_owner(*BACK)
    track = Track(Counts(), signing.name, signing.park.pool)
    await track.replay(signing.log)
    await begun(signing)
    await signing.park.record(20)
    with pytest.raises(NotNext):
        await track.project(lost[9:], epoch=1)
    await track.replay(signing.log)
    assert await check(Counts(), signing.log, signing.park.pool) is None


async def test_no_event_of_the_new_epoch_comes_into_the_old_stream(signing):
    relay = signing.park.relay()
    async with running(relay.run()):
        await signing.park.relayed()
        before = await signing.park.streamed(epoch=1)
        await signing.as_owner("UPDATE log.park_head SET epoch = 2")
        await signing.park.record(3)
        await signing.park.relayed(epoch=2)
    assert await signing.park.streamed(epoch=1) == before


async def test_states_of_a_lost_life_are_forgotten(signing):
    """As in a process that went on while the database was dropped under it."""
    counted = Fold("counted", "player", lambda _: 0, {object: lambda state, _: state + 1})
    park, subject = domain(signing), (counted, "1")
    given, _ = await park.load(lambda _: {subject})
    assert given.of(*subject) == 11
    await signing.as_owner(*BACK)
    await begun(signing)
    given, read = await park.load(lambda _: {subject})
    assert given.of(*subject) == 8
    assert read[subject] == 10
