"""A database brought back from a dump: nothing is recorded until a person has begun a new epoch, and then everything goes on.

Real servers, the service as a process, PostgreSQL's own pg_dump and pg_restore, and the commands as a person types them. The proofs
are verified with RFC 9162's algorithms as `tests/checks` holds them against its vectors.
"""

from types import SimpleNamespace
from uuid import UUID

import msgspec
import nats
import psycopg
import pytest
import uvloop

from contracts.evidence import ConsistencyProof, EpochBegun, Keys, Proof
from contracts.words import Role
from deploy.services import PROJECTIONS
from services.core.stream import Stream
from services.evidence import note, proofs
from services.evidence.checkpoint import Checkpoint
from services.evidence.note import VerifierKey
from tests.integration.restored_park import Keeper, Park

pytestmark = pytest.mark.timeout(240)

EVERYTHING: tuple[Role, ...] = ("desk", "manager", "auditor", "first_aider")
NO_CLAIMS = {"rules": {"version": "larchmoor-swift", "vault": {"claims_years": 0}}}
"""Under these rules no claims are waited for, so that a person may be erased at once."""
DETAIL = {"person": "ada", "entry": "note-ada", "kind": "note", "text": "Her left knee."}


@pytest.fixture(scope="module")
def told(databases, nats_urls, tmp_path_factory):
    """The whole story, lived through once; what was seen on the way."""
    database = databases.create()
    park = Park(database, nats_urls, tmp_path_factory.mktemp("restored"), "larchmoor-restored")
    seen = SimpleNamespace(park=park)
    try:
        a_day(park, seen)
        the_loss(park, seen)
        the_restore(park, seen)
        yield seen
    finally:
        park.stop()
        databases.drop(database)


def a_day(park, seen):
    """Facts, a backup, and more facts, of which some lie under a checkpoint; an erasure, a revocation and a new signing key after the backup."""
    park.start()
    seen.manager = park.enrol("office", *EVERYTHING)
    park.enrol("lost-tablet", *EVERYTHING)
    device = seen.device = Keeper(park.http, park.name, park.enrol("gate", *EVERYTHING))
    office = Keeper(park.http, park.name, seen.manager)
    device.send("park/adopt-rules", NO_CLAIMS)
    device.people("ada", "ben", "cyd")
    office.send("vault/keep-detail", DETAIL)
    seen.small = park.checkpoint(seen.manager)
    device.people("dot")
    park.back_up()
    seen.backup = park.head()
    device.people("eli", "fay")
    office.send("vault/erase-person", {"person": "ada"})
    park.revoke("lost-tablet")
    assert park.ask("POST", "evidence/keys", seen.manager).status_code == 200
    seen.large = park.checkpoint(seen.manager)
    device.people("gus")
    seen.end = park.level()
    seen.leaves = park.leaves()
    assert park.ask("GET", f"board.json?at_least=1:{seen.end}", seen.manager).status_code == 200
    _, seen.last_event_id, _ = park.first_of_stream()
    park.stop()


def the_loss(park, seen):
    """The database is gone and the dump is brought back; the park is started, and someone tries to work."""
    park.lose_and_bring_back()
    seen.brought_back = park.everything()
    park.start()
    path, body, headers = seen.device.kept[-1]
    seen.written = park.http.post(f"/parks/{park.name}/{path}", json=body, headers=headers)
    seen.signed = park.ask("POST", "evidence/checkpoint", seen.manager)
    seen.ready = park.ready()
    seen.readiness = park.http.get("/ready")
    seen.meanwhile = park.everything()


def the_restore(park, seen):
    """A person looks, begins the epoch while the park runs, and the device sends again what it has kept."""
    seen.looked = park.command("restore")
    seen.after_looking = park.everything()
    seen.restored = park.command("restore", "--yes", "--cause", "point_in_time")
    assert seen.restored.returncode == 0, seen.restored.stderr
    seen.first = park.rows(
        "SELECT note FROM evidence.checkpoint WHERE park = %s AND epoch = 2 ORDER BY size", park.name
    )
    seen.begun = park.events()[seen.backup[1]]
    park.until_open(seen.manager)
    seen.again = seen.device.send_again()
    seen.level = park.level()


def head_of(text):
    return Checkpoint.parse(note.read(text).text)


def test_until_a_person_has_looked_the_relay_halts_nothing_is_signed_and_nothing_is_recorded(told):
    backup = told.backup[1]
    assert told.backup == (1, backup)
    assert told.ready["relay"]["state"] == "halted"
    assert told.ready["relay"]["why"] == f"stream PARK_larchmoor-restored_1 ends at {told.end}, but the log at {backup}"
    assert told.ready["evidence"]["state"] == "refused"
    assert (told.signed.status_code, told.signed.json()["type"]) == (409, "/problems/not-in-that-state")
    assert "events are gone" in told.signed.json()["detail"]
    assert (told.written.status_code, told.written.json()["type"]) == (503, "/problems/unavailable")
    assert told.written.json()["detail"].startswith(
        f"Nothing is recorded and nobody is cleared now: the log of larchmoor-restored ends at position {backup} of epoch 1, but outside the database it is "
        f"known up to position {told.end} of epoch 1."
    )
    assert told.meanwhile == told.brought_back


def test_meanwhile_the_park_is_not_ready_and_says_why_and_afterwards_it_is(told):
    assert (told.readiness.status_code, told.readiness.json()["ready"]) == (503, False)
    log = told.readiness.json()["parks"][told.park.name]["log"]
    assert log == {"epoch": 1, "position": told.backup[1], "why": told.written.json()["detail"]}
    now = told.park.http.get("/ready")
    assert (now.status_code, now.json()["ready"]) == (200, True)
    assert told.park.ready()["log"]["why"] == ""


def test_the_first_checkpoint_of_the_epoch_is_signed_at_once(told):
    (first, *_) = [Checkpoint.parse(note.read(text).text) for (text,) in told.first]
    assert first.origin == "fieldledger/larchmoor-restored/2"
    assert first.size > told.backup[1]
    assert f"Its first checkpoint is signed, over {first.size} events." in told.restored.stdout


def test_looking_tells_what_was_lost_and_changes_nothing(told):
    backup, said = told.backup[1], told.looked.stdout
    assert told.looked.returncode == 0, told.looked.stderr
    assert f"the log ends at position {backup} of epoch 1" in said
    assert f"The last checkpoint outside covers {head_of(told.large).size} events of epoch 1" in said
    assert f"The bus holds epoch 1 up to position {told.end}." in said
    assert f"The log's first {head_of(told.small).size} events are those that were signed on " in said
    assert f"Lost, as far as is known: positions {backup + 1} to {told.end}." in said
    assert "Persons who were erased after the backup and can be read again: 1." in said
    assert "  lost-tablet (auditor, desk, first_aider, manager), enrolled " in said
    assert "Nothing was changed. To begin epoch 2: fieldledger restore --park larchmoor-restored --yes" in said
    assert told.after_looking == told.brought_back


def test_the_epoch_begins_with_an_event_that_says_what_was_lost(told):
    backup = told.backup[1]
    assert (told.begun.epoch, told.begun.position, told.begun.type) == (2, backup + 1, "evidence.epoch_begun")
    assert told.begun.data == EpochBegun(
        epoch=2, checkpoint=told.large, lost_first=backup + 1, lost_last=told.end, cause="point_in_time"
    )
    assert told.park.leaves()[:backup] == told.leaves[:backup]
    assert f"Epoch 2 has begun at position {backup + 1}." in told.restored.stdout


def test_whatever_the_device_had_acknowledged_is_there_once_in_its_order(told):
    mine = [event for event in told.park.events() if event.device == "gate"]
    assert [event.id for event in mine] == [
        UUID(headers["Idempotency-Key"].strip('"')) for *_, headers in told.device.kept
    ]
    assert [event.device_seq for event in mine] == list(range(1, len(told.device.kept) + 1))
    survived = [receipt["repeat"] for receipt in told.again]
    assert survived == sorted(survived, reverse=True)
    assert [receipt["epoch"] for receipt in told.again] == [1 if repeat else 2 for repeat in survived]
    assert sum(survived) == sum(1 for event in mine if event.position <= told.backup[1]) == 9


def test_relay_and_read_tables_go_on_and_are_what_the_log_says(told):
    assert told.park.ready()["relay"]["state"] == "relaying"
    assert uvloop.run(streamed(told.park, 2)) == told.park.leaves()
    assert uvloop.run(streamed(told.park, 1)) == told.leaves
    checked = told.park.command("check")
    assert checked.returncode == 0, checked.stdout
    assert checked.stdout.count("as the log says") == len(PROJECTIONS)


async def streamed(park, epoch):
    """The whole stream of an epoch, read by a client that is none of ours."""
    client = await nats.connect(park.bus.service)
    try:
        jetstream, name = client.jetstream(), Stream(park.name, epoch).name
        last = (await jetstream.stream_info(name)).state.last_seq
        return [(await jetstream.get_msg(name, seq=one)).data for one in range(1, last + 1)]
    finally:
        await client.close()


def test_the_board_goes_on_and_a_reader_from_before_gets_a_fresh_snapshot(told):
    assert told.last_event_id.startswith(f"1:{told.end}:")
    assert told.park.ask("GET", f"board.json?at_least=2:{told.level}", told.manager).status_code == 200
    event, name, status = told.park.first_of_stream(told.last_event_id)
    assert (event, status["epoch"]) == ("snapshot", 2)
    assert status["position"] >= told.level
    assert name.startswith(f"2:{status['position']}:")


@pytest.mark.parametrize("path", ["board.json?at_least=1:{end}", "board.json?at_least=1:{backup}"])
def test_a_position_of_the_epoch_before_is_refused_with_what_to_do(told, path):
    answer = told.park.ask("GET", path.format(end=told.end, backup=told.backup[1]), told.manager)
    assert (answer.status_code, answer.json()["type"]) == (422, "/problems/position-ahead")
    assert "after a restore, send again what you kept" in answer.json()["detail"]


def test_a_position_of_the_new_epoch_is_served(told):
    answer = told.park.ask("GET", f"board.json?at_least=2:{told.level}", told.manager)
    assert (answer.status_code, answer.json()["epoch"]) == (200, 2)


def test_events_of_both_epochs_are_proven_by_the_new_epochs_checkpoints(told):
    park, known = told.park, keys(told)
    newest = head_of(park.checkpoint(told.manager))
    assert newest.origin == "fieldledger/larchmoor-restored/2"
    assert newest.size == park.head()[1]
    for position in (1, told.backup[1], told.backup[1] + 1, newest.size):
        proof = asked(told, f"evidence/proofs/{position}", Proof)
        assert proofs.verify(proof, known) == newest
        assert proof.leaf.encode() == park.leaves()[position - 1]


def test_what_was_signed_before_and_is_not_lost_is_continued(told):
    park, small, large = told.park, head_of(told.small), head_of(told.large)
    newest = head_of(park.checkpoint(told.manager))
    proof = asked(told, f"evidence/consistency?first={small.size}&second={newest.size}", ConsistencyProof)
    assert proof.first_checkpoint == told.small
    assert proofs.verify_continuity(proof, keys(told)) == (small, newest)
    lost = park.ask("GET", f"evidence/consistency?first={large.size}&second={newest.size}", told.manager)
    assert lost.status_code == 404
    assert "a restore lost some of them" in lost.json()["detail"]
    before = park.ask("GET", "evidence/checkpoints?epoch=1", told.manager).json()["checkpoints"]
    assert [before[0]["note"], before[-1]["note"]] == [told.large, told.small]
    after = park.ask("GET", f"evidence/checkpoints?epoch=2&before={newest.size + 1}", told.manager).json()[
        "checkpoints"
    ]
    assert {one["epoch"] for one in after} == {2}


def test_whoever_trusts_the_first_key_can_follow_to_the_new_epochs(told):
    park = told.park
    newest = park.checkpoint(told.manager)
    adopted = asked(told, "evidence/keys", Keys).keys
    trusted = proofs.follow(VerifierKey.parse(adopted[0].vkey), adopted)
    assert [key.name for key in trusted] == ["fieldledger/larchmoor-restored/1", "fieldledger/larchmoor-restored/2"]
    assert proofs.opened(newest, trusted[-1:]).epoch == 2
    assert [key.name for key in keys(told)] == [trusted[0].name, trusted[0].name, trusted[1].name]
    assert keys(told)[1] not in trusted, "its adoption was lost"


def test_the_check_of_the_record_finds_nothing(told):
    told.park.checkpoint(told.manager)
    checked = told.park.command("audit", "check")
    assert (checked.returncode, checked.stdout.splitlines()[0]) == (
        0,
        f"larchmoor-restored: no findings in {told.park.head()[1]} events.",
    ), checked.stdout
    assert "checkpoints cover events that a restore lost" in checked.stdout


def test_a_case_file_of_the_new_epoch_is_verified_offline(told, tmp_path):
    file = tmp_path / "case.zip"
    made = told.park.command("audit", "case", "person", "ben", "--out", str(file))
    assert made.returncode == 0, made.stderr
    examined = told.park.command("verify", str(file))
    assert examined.returncode == 0, examined.stdout + examined.stderr


def test_a_case_file_is_not_written_over_another_file_unless_that_is_wanted(told, tmp_path):
    file = tmp_path / "case.zip"
    file.write_bytes(b"the case of last year")
    refused = told.park.command("audit", "case", "person", "ben", "--out", str(file))
    assert refused.returncode == 1
    assert refused.stderr.startswith(f"fieldledger: {file} is there already, and was left as it is.")
    assert "--force" in refused.stderr
    assert file.read_bytes() == b"the case of last year"
    forced = told.park.command("audit", "case", "person", "ben", "--out", str(file), "--force")
    assert forced.returncode == 0, forced.stderr
    assert told.park.command("verify", str(file)).returncode == 0


def test_who_was_erased_before_the_backup_was_brought_back_is_unreadable_again_and_that_is_on_the_record(told):
    assert told.brought_back["vault.person_key"], "the backup held her key"
    assert told.park.rows("SELECT FROM vault.person_key") == told.park.rows("SELECT FROM vault.detail") == []
    again = [event for event in told.park.events() if event.type == "vault.erasure_reapplied"]
    assert [(event.epoch, event.data.person) for event in again] == [(2, "ada")]
    (detail,) = told.park.ask("GET", "vault/persons/ada", told.manager).json()["details"]
    assert detail["text"] is None


def test_a_second_restore_finds_nothing_lost(told):
    head = told.park.head()
    second = told.park.command("restore", "--yes")
    assert second.returncode == 1
    assert second.stderr.startswith(
        f"fieldledger: larchmoor-restored: nothing is lost. The log ends at position {head[1]} of epoch 2"
    )
    assert told.park.head() == head


def test_the_service_can_neither_begin_an_epoch_nor_raise_it(told):
    with psycopg.connect(told.park.database.url, autocommit=True) as service:
        for statement in (
            "UPDATE log.park_head SET epoch = 3",
            "SELECT log.begin_epoch('larchmoor-restored', 1, 3, now(), gen_random_uuid(), '', '', '', now()::date, '', '')",
        ):
            with pytest.raises(psycopg.errors.InsufficientPrivilege):
                service.execute(statement)


def asked(told, path, kind):
    return msgspec.json.decode(told.park.ask("GET", path, told.manager).content, type=kind)


def keys(told):
    """Every key that ever signed, from the list outside, the oldest first."""
    listed = (told.park.outside / "keys-larchmoor-restored.txt").read_text().splitlines()
    return [VerifierKey.parse(one) for one in listed]


def test_whoever_read_along_is_told_what_was_lost_and_goes_on_from_where_both_lives_agree(told):
    cut = told.backup[1]
    refused = told.park.ask("GET", f"events?after=1:{told.end}", told.manager)
    assert (refused.status_code, refused.json()["type"]) == (410, "/problems/position-lost")
    assert refused.json()["resume"] == f"1:{cut}"
    first, *_ = told.park.ask("GET", f"events?after={refused.json()['resume']}", told.manager).text.splitlines()
    anew = msgspec.json.decode(first)
    assert (anew["epoch"], anew["position"], anew["type"]) == (2, cut + 1, "evidence.epoch_begun")
    headers = {"Authorization": f"Bearer {told.manager}", "Last-Event-ID": f"1:{told.end}"}
    with told.park.http.stream("GET", f"/parks/{told.park.name}/events/stream", headers=headers) as stream:
        data = (line for line in stream.iter_lines() if line.startswith("data: "))
        epoch, event = (msgspec.json.decode(next(data).removeprefix("data: ")) for _ in range(2))
    assert epoch == {"epoch": 2, "was": f"1:{told.end}", "common": cut, "lost": told.end - cut}
    assert event == anew
