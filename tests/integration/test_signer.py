"""The signer against real servers: when it signs, where a checkpoint is kept, and what it refuses to sign."""

import asyncio

import asyncpg
import pytest

from contracts.envelope import Unknown
from contracts.evidence import KeyAdopted
from contracts.leaf import decode, leaf_hash
from services.core.bus import Bus
from services.evidence import checkpoints, note, tree
from services.evidence.checkpoint import Checkpoint
from services.evidence.note import SigningKey
from services.evidence.rounds import SLICE, NotSigned
from tests.integration.bus_park import eventually, running
from tests.integration.evidence_park import head_of, opened, signers_of

pytestmark = [pytest.mark.anyio, pytest.mark.timeout(120)]


@pytest.fixture
def anyio_backend():
    return "asyncio"


@pytest.fixture
async def signing(database, nats_urls, tmp_path):
    async with opened(database, nats_urls, tmp_path) as signing:
        yield signing


async def test_a_checkpoint_covers_the_whole_log_with_the_root_over_its_leaves(signing):
    await signing.park.record(2 * SLICE + 300)
    head = head_of(await signing.sign())
    leaves = await signing.park.leaves()
    assert head.size == len(leaves) == 2 * SLICE + 301
    assert head.root == tree.root([leaf_hash(row.leaf) for row in leaves])
    assert head.origin == f"fieldledger/{signing.name}/1"


async def test_the_first_checkpoint_covers_the_adoption_of_its_key(signing):
    await signing.park.record(3)
    text = await signing.sign()
    *others, adopted = [decode(row.leaf) for row in await signing.park.leaves()]
    (key,) = signing.outside.keys()
    assert adopted.data == KeyAdopted(vkey=key.verifier.text, replaces=None)
    assert (adopted.device, adopted.tags, adopted.position) == ("server", ("evidence",), 4)
    assert [type(one.data) for one in others] == [Unknown] * 3
    assert note.read(text).open([key.verifier]) == (key.verifier,)


async def test_where_nothing_is_new_the_last_one_is_the_answer(signing):
    first = await signing.sign()
    assert await signing.sign() == first
    await signing.park.record(1)
    second = await signing.sign()
    assert second != first
    assert signing.outside.notes() == await signing.table() == (first, second)


async def test_at_the_interval_it_signs_when_the_log_has_grown_and_only_then(signing):
    signer = signing.another(every=0.3)
    async with running(signer.run()):
        await asyncio.sleep(1)
        assert await signing.table() == ()
        await signing.park.record(3)
        await eventually(lambda: _covers(signing, 4))
        await asyncio.sleep(1.5)
        assert len(await signing.table()) == 1
        await signing.park.record(1)
        await eventually(lambda: _covers(signing, 5))
    assert len(await signing.table()) == 2
    assert (await signing.log.head()).position == 5


async def _covers(signing, size):
    table = await signing.table()
    return bool(table) and head_of(table[-1]).size == size


async def test_outside_table_and_bus_agree_and_each_was_outside_first(signing, monkeypatch):
    kept = []
    keep = checkpoints.keep

    async def watched(connection, park, notes):
        notes = tuple(notes)
        assert set(notes) <= set(signing.outside.notes())
        kept.extend(notes)
        await keep(connection, park, notes)

    monkeypatch.setattr(checkpoints, "keep", watched)
    async with running(signing.announcer().run()):
        for _ in range(3):
            await signing.park.record(5)
            await signing.sign()
        await eventually(lambda: _announced(signing))
    assert len(kept) == 3
    assert signing.outside.notes() == await signing.table() == await signing.stream()


async def _announced(signing):
    return await signing.stream() == signing.outside.notes()


async def test_a_bus_that_is_down_delays_nothing_and_is_caught_up(signing):
    nowhere = Bus("nats://127.0.0.1:1")
    async with running(signing.announcer(nowhere).run()):
        await signing.park.record(1)
        async with asyncio.timeout(20):
            await signing.sign()
        await signing.park.record(1)
        await signing.sign()
    async with running(signing.announcer().run()):
        await eventually(lambda: _announced(signing))
    assert len(await signing.stream()) == 2


async def test_two_processes_announce_each_checkpoint_once(signing):
    async with running(signing.announcer().run(), signing.announcer(Bus(signing.park.urls.relay)).run()):
        for _ in range(5):
            await signing.park.record(1)
            await signing.sign()
        await eventually(lambda: _announced(signing))
    assert await signing.stream() == signing.outside.notes()


async def test_two_processes_that_sign_at_once_take_turns(signing):
    await signing.park.record(1500)
    others = [signing.another() for _ in range(3)]
    async with asyncio.TaskGroup() as tasks:
        for signer in others:
            tasks.create_task(signer.sign())
    (text,) = signing.outside.notes()
    assert (text,) == await signing.table()
    assert head_of(text).size == 1501
    assert len(signing.outside.keys()) == 1


@pytest.mark.parametrize("crash", ["before the database has it", "before the key is in the log"])
async def test_what_a_crash_leaves_undone_the_next_round_does(signing, monkeypatch, crash):
    await signing.park.record(3)
    with monkeypatch.context() as patched:
        where = (
            (checkpoints, "keep")
            if crash == "before the database has it"
            else (signing.signer._rounds._keyring, "_adopt")
        )

        async def crashed(*_):
            raise KeyboardInterrupt

        patched.setattr(*where, crashed)
        with pytest.raises(KeyboardInterrupt):
            await signing.sign()
    assert await signing.table() == ()
    left = signing.outside.notes()
    text = await signing.another().sign()
    assert left in {(), (text.note,)}
    assert signing.outside.notes() == await signing.table() == (text.note,)
    adopted = [decode(row.leaf).data for row in await signing.park.leaves()][3:]
    assert adopted == [KeyAdopted(vkey=signing.outside.keys()[0].verifier.text, replaces=None)]


async def test_more_than_one_that_only_lies_outside_is_copied_in(signing, monkeypatch):
    with monkeypatch.context() as patched:
        patched.setattr(checkpoints, "holds", _yes)
        patched.setattr(checkpoints, "keep", _nothing)
        for _ in range(3):
            await signing.park.record(1)
            await signing.sign()
    assert await signing.table() == ()
    await signing.park.record(1)
    await signing.sign()
    assert len(await signing.table()) == 4
    assert await signing.table() == signing.outside.notes()


async def _yes(*_):
    return True


async def _nothing(*_):
    return None


async def test_tiles_that_are_lost_are_made_again(signing):
    await signing.park.record(700)
    await signing.sign()
    everything = "DELETE FROM evidence.tile"
    for lost in (everything, f"{everything} WHERE level = 0 AND index = 1", f"{everything} WHERE level = 1"):
        await signing.as_owner(lost)
        await signing.park.record(1)
        head = head_of(await signing.sign())
        assert head.root == tree.root([leaf_hash(row.leaf) for row in await signing.park.leaves()])


# What must be refused


async def refused(signing, *words):
    """The signer refuses, says so, and signs nothing."""
    before = signing.outside.notes(), await signing.table()
    with pytest.raises(NotSigned) as refusal:
        await signing.sign()
    assert all(word in str(refusal.value) for word in words), str(refusal.value)
    assert (signing.signer.state, signing.signer.why) == ("refused", str(refusal.value))
    assert (signing.outside.notes(), await signing.table()) == before


@pytest.fixture
async def signed(signing):
    """A log of twelve events under two checkpoints, of six and twelve."""
    await signing.park.record(5)
    await signing.sign()
    await signing.park.record(6)
    await signing.sign()
    return signing


CUT = """
DELETE FROM log.request WHERE last_position > 9;
DELETE FROM log.event_tag WHERE position > 9;
DELETE FROM log.event WHERE position > 9;
UPDATE log.park_head SET position = 9
"""


async def test_a_truncated_log_is_refused_and_stays_so_when_it_has_grown_again(signed):
    await signed.as_owner(CUT)
    await refused(signed, "ends before position 12", "events are gone")
    await signed.park.record(20)
    await refused(signed, "Position 12 is not the event that the log's tree has taken in")


async def test_a_truncated_log_is_refused_whatever_became_of_the_stored_tree(signed):
    await signed.as_owner(CUT, "DELETE FROM evidence.tile")
    await refused(signed, "ends at position 9", "covers 12")
    await signed.park.record(20)
    await refused(signed, "The first 12 events are not those")


async def test_a_last_event_that_was_changed_is_refused(signed):
    await signed.as_owner(
        "UPDATE log.event SET leaf = overlay(leaf PLACING '\\x7a'::bytea FROM 60) WHERE position = 12"
    )
    await refused(signed, "Position 12 is not the event")


async def test_a_hole_in_the_log_is_refused(signed):
    await signed.park.record(3)
    await signed.as_owner("DELETE FROM log.event WHERE position = 14")
    await refused(signed, "a hole between positions 12 and 15")


async def test_a_changed_event_is_refused_once_the_tree_is_made_of_it(signed):
    await signed.as_owner(
        "UPDATE log.event SET leaf = overlay(leaf PLACING '\\x7a'::bytea FROM 60) WHERE position = 7",
        "DELETE FROM evidence.tile",
    )
    await refused(signed, "The first 12 events are not those", "the log was changed")


async def test_a_file_outside_that_was_cut_is_refused(signed):
    first, _ = signed.outside.notes()
    signed.exchange(first)
    await refused(signed, "keeps a checkpoint over 12 events", "outside covers 6")
    signed.file.unlink()
    await refused(signed, "keeps a checkpoint over 12 events", "outside covers 0")


async def test_a_checkpoint_exchanged_for_one_of_another_key_is_refused(signed):
    first, last = signed.outside.notes()
    stranger = SigningKey.make(head_of(last).origin)
    signed.exchange(first, note.sign(head_of(last).text, [stranger]))
    await refused(signed, "not one of this park's", "No key that is known has signed")


async def test_a_checkpoint_of_another_root_is_refused_though_the_parks_own_key_has_signed_it(signed):
    first, last = signed.outside.notes()
    other = Checkpoint.at(head_of(last).origin, 12, bytes(32), head_of(last).signed_at)
    signed.exchange(first, note.sign(other.text, signed.outside.keys()))
    await refused(signed, "The first 12 events are not those")


async def test_a_checkpoint_of_another_park_is_refused_though_the_key_is_the_same(signed):
    _, last = signed.outside.notes()
    other = Checkpoint.at("fieldledger/elsewhere/1", 12, head_of(last).root, head_of(last).signed_at)
    signed.exchange(note.sign(other.text, signed.outside.keys()))
    await refused(signed, "is of fieldledger/elsewhere/1")


async def test_a_changed_byte_in_the_file_outside_is_refused(signed):
    content = signed.file.read_text()
    signed.file.write_text(content.replace("\n12\n", "\n11\n"))
    await refused(signed, "not one of this park's", "not over this text")


async def test_a_forged_key_is_refused(signed):
    stranger = SigningKey.make(signed.outside.keys()[0].name)
    (signed.folder / f"signing-{signed.name}.json").unlink()
    signed.outside.add_key(stranger)
    await refused(signed, "No key that is known has signed")
    assert (await signed.log.head()).position == 12  # no such key was adopted


async def test_a_checkpoint_exchanged_in_the_database_is_refused(signed):
    await signed.as_owner(
        "ALTER TABLE evidence.checkpoint DISABLE TRIGGER history",
        "UPDATE evidence.checkpoint SET root = decode(repeat('00', 32), 'hex') WHERE size = 12",
    )
    await refused(signed, "another checkpoint over 12 events")


async def test_it_signs_again_once_what_was_exchanged_is_put_back(signed):
    content = signed.file.read_bytes()
    signed.file.write_bytes(content.replace(b"\n12\n", b"\n13\n"))
    await refused(signed)
    signed.file.write_bytes(content)
    await signed.park.record(1)
    assert head_of(await signed.sign()).size == 13
    assert (signed.signer.state, signed.signer.why) == ("signed", "")


async def test_a_folder_that_cannot_be_written_is_said_and_signing_goes_on_when_it_can(signing):
    signing.file.mkdir()
    signer = signing.another(every=0.2)
    async with running(signer.run()):
        await signing.park.record(1)
        await eventually(lambda: _refuses(signer))
        assert "cannot be used (Is a directory)" in signer.why
        signing.file.rmdir()
        await eventually(lambda: _covers(signing, 2))


async def _refuses(signer):
    return signer.state == "refused"


# Keys


async def test_a_new_key_signs_beside_the_one_it_replaces_once_and_then_alone(signing):
    await signing.park.record(1)
    first = await signing.sign()
    both = await signing.sign(new_key=True)
    await signing.park.record(1)
    alone = await signing.sign()
    keys = signing.outside.keys()
    old, new = [key.verifier.id.hex() for key in keys]
    assert [signers_of(text) for text in (first, both, alone)] == [[old], [old, new], [new]]
    adopted = decode((await signing.park.leaves())[2].leaf).data
    assert adopted == KeyAdopted(vkey=signing.outside.public_keys()[1], replaces=signing.outside.public_keys()[0])
    assert head_of(both).size == 3  # it covers its adoption


async def test_a_rotation_that_was_broken_off_is_finished_by_the_next_round(signing, monkeypatch):
    await signing.park.record(1)
    await signing.sign()
    with monkeypatch.context() as patched:

        async def crashed(*_):
            raise KeyboardInterrupt

        patched.setattr(signing.signer._rounds._keyring, "_adopt", crashed)
        with pytest.raises(KeyboardInterrupt):
            await signing.sign(new_key=True)
    text = await signing.sign()
    assert len(signers_of(text)) == len(signing.outside.keys()) == 2
    assert isinstance(decode((await signing.park.leaves())[-1].leaf).data, KeyAdopted)


# The database's part


@pytest.mark.parametrize("change", ["UPDATE {} SET size = size", "DELETE FROM {}", "TRUNCATE {}"])
async def test_a_checkpoint_is_history_for_every_role(signed, change):
    statement = change.format("evidence.checkpoint")
    owner = await asyncpg.connect(signed.park.database.admin_url)
    with pytest.raises(asyncpg.InsufficientPrivilegeError, match="is history"):
        await owner.execute(statement)
    await owner.execute("SET session_replication_role = replica")
    with pytest.raises(asyncpg.InsufficientPrivilegeError, match="is history"):
        await owner.execute(statement)
    await owner.close()
    async with signed.park.pool.connection() as service:
        with pytest.raises(asyncpg.InsufficientPrivilegeError, match="permission denied"):
            await service.execute(statement)


async def test_only_the_relays_account_may_announce(signing):
    service = Bus(signing.park.urls.service)
    async with running(signing.announcer(service).run()):
        await signing.sign()
        await asyncio.sleep(1)
    await service.close()
    end = await signing.park.relay_bus.end(signing.announcer()._stream)
    assert end is None
