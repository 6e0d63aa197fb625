"""The park's proofs over HTTP and from the terminal: who may ask, what is answered, and that a stranger can verify it."""

from functools import partial

import msgspec
import nats
import psycopg
import pytest

from contracts.evidence import Checkpoints, ConsistencyProof, Keys, Proof
from contracts.leaf import leaf_hash
from services.evidence import note, proofs, tree
from services.evidence.checkpoint import Checkpoint, CheckpointError
from services.evidence.note import NoteError, SigningKey, VerifierKey
from services.evidence.tree import ProofError
from tests.integration.live import ROLES, serving
from tests.integration.terminal import terminal

EVENTS = 300


@pytest.fixture(scope="module")
def park(databases, nats_urls):
    """A park of some hundred events under two checkpoints, of which the second is also signed by a second key."""
    database = databases.create()
    with serving(database, nats_urls) as live:
        record(live, 5)
        sign(live)
        record(live, EVENTS)
        answer = write(live, "keys")
        assert answer.status_code == 200
        yield live, database
    databases.drop(database)


@pytest.fixture
def live(park):
    return park[0]


def record(live, events):
    for number in range(events):
        assert live.post("park/record-weather", {"temperature_c": number % 30}).status_code == 201


def write(live, path, role="manager"):
    return live.http.post(f"/parks/{live.park}/evidence/{path}", headers={"Authorization": f"Bearer {live.keys[role]}"})


def sign(live):
    answer = write(live, "checkpoint")
    assert (answer.status_code, answer.headers["content-type"]) == (200, "text/plain; charset=utf-8")
    return answer.text


def read(live, path, kind, role="referee"):
    answer = live.get(f"/parks/{live.park}/evidence/{path}", role)
    assert answer.status_code == 200, answer.text
    return msgspec.json.decode(answer.content, type=kind, strict=True)


def newest(live):
    return live.get(f"/parks/{live.park}/evidence/checkpoint", "referee").text


def listed(live):
    return read(live, "checkpoints", Checkpoints).checkpoints


def refused(answer, status, kind, *words):
    problem = answer.json()
    assert (answer.status_code, problem["type"]) == (status, f"/problems/{kind}"), answer.text
    assert all(word in problem["detail"] for word in words), problem["detail"]


def keys_of(live):
    return [VerifierKey.parse(one.vkey) for one in read(live, "keys", Keys).keys]


def test_every_event_is_proven_to_lie_under_the_newest_checkpoint(live):
    keys, head = keys_of(live), Checkpoint.parse(note.read(newest(live)).text)
    assert head.size == live.head()
    for position in (1, 2, 6, 7, 255, 256, 257, head.size - 1, head.size):
        proof = read(live, f"proofs/{position}", Proof)
        assert proof.leaf.encode() == live.leaf(position)
        assert proofs.verify(proof, keys[1:]) == head
        tree.verify_inclusion(
            leaf_hash(live.leaf(position)), position - 1, head.size, proofs.unhex(proof.hashes), head.root
        )


def test_a_receipts_hash_is_that_of_the_proof(live):
    receipt = live.post("park/record-weather", {"temperature_c": 4.5}).json()
    event = receipt["events"][0]
    where = f"/parks/{live.park}/evidence/proofs/{event['position']}"
    refused(
        live.get(where), 404, "not-found", f"Position {event['position']} is not under", "every 60 seconds", "ask again"
    )
    sign(live)
    assert live.get(where).json()["leaf_sha256"] == event["leaf_sha256"]


def test_a_proof_may_be_asked_for_under_an_earlier_checkpoint(live):
    earliest = listed(live)[-1]
    proof = read(live, f"proofs/3?size={earliest.size}", Proof)
    assert (proof.size, proof.checkpoint) == (6, earliest.note)
    assert proofs.verify(proof, keys_of(live)[:1]).size == 6


@pytest.mark.parametrize("change", ["leaf", "leaf_sha256", "hashes", "position", "index", "size", "checkpoint"])
def test_a_proof_that_was_changed_anywhere_is_refused_with_a_sentence(live, change):
    keys, proof = keys_of(live), read(live, "proofs/7", Proof)
    other = read(live, "proofs/8", Proof)
    changed = {
        "leaf": proof.leaf.replace("temperature_c", "temperature_f"),
        "leaf_sha256": other.leaf_sha256,
        "hashes": (*proof.hashes[:-1], proof.hashes[0]),
        "position": 8,
        "index": 7,
        "size": proof.size - 1,
        "checkpoint": proof.checkpoint.replace("\n", " \n", 1),
    }[change]
    with pytest.raises((ProofError, NoteError, CheckpointError), match=r"^\S+ .*\.$"):
        proofs.verify(msgspec.structs.replace(proof, **{change: changed}), keys)


def test_an_event_of_another_place_is_refused_though_its_own_proof_holds(live):
    proof = read(live, "proofs/7", Proof)
    moved = msgspec.structs.replace(proof, position=8, index=7)
    with pytest.raises(ProofError, match="Position 8"):
        proofs.verify(moved, keys_of(live))


def test_between_two_checkpoints_nothing_was_changed(live):
    keys, (later, *_, first) = keys_of(live), listed(live)
    proof = read(live, f"consistency?first={first.size}&second={later.size}", ConsistencyProof)
    heads = proofs.verify_continuity(proof, keys)
    assert [head.size for head in heads] == [first.size, later.size]
    with pytest.raises(ProofError):
        proofs.verify_continuity(msgspec.structs.replace(proof, hashes=proof.hashes[::-1]), keys)


def test_who_trusts_the_old_key_learns_to_trust_the_new_one(live):
    adopted = read(live, "keys", Keys).keys
    old, new = [VerifierKey.parse(one.vkey) for one in adopted[:2]]
    assert (adopted[0].replaces, adopted[1].replaces) == (None, old.text)
    assert proofs.follow(old, adopted[:2]) == (old, new)
    assert proofs.follow(new, adopted[:2]) == (new,)


def test_a_stranger_who_adds_his_signature_to_a_checkpoint_is_not_trusted_for_it(live):
    first, second, *_ = read(live, "keys", Keys).keys
    old, stranger = VerifierKey.parse(first.vkey), SigningKey.make("stranger")
    head = note.read(second.proof.checkpoint)
    added = note.sign(head.text, [stranger]).rpartition("\n\n")[2]
    proof = msgspec.structs.replace(second.proof, checkpoint=second.proof.checkpoint + added)
    forged = msgspec.structs.replace(second, vkey=stranger.verifier.text, proof=proof)
    with pytest.raises(NoteError, match="does not adopt the key stranger"):
        proofs.follow(old, [first, forged])
    with pytest.raises(NoteError, match="No key that is known"):
        proofs.follow(old, [first, msgspec.structs.replace(forged, proof=second.proof)])


def test_the_list_is_newest_first_and_can_be_paged(live):
    whole = listed(live)
    assert [one.size for one in whole] == sorted((one.size for one in whole), reverse=True)
    assert whole[0].note == newest(live)
    page = read(live, f"checkpoints?limit=1&before={whole[0].size}", Checkpoints).checkpoints
    assert page == whole[1:2]


def test_signing_again_with_nothing_new_answers_the_same_note(live):
    assert sign(live) == sign(live)


@pytest.mark.parametrize("role", ROLES)
def test_anybody_may_ask_for_proof_but_only_some_have_it_signed(live, role):
    for path in ("checkpoint", "checkpoints", "proofs/1", "keys", "consistency?first=6&second=6"):
        assert live.get(f"/parks/{live.park}/evidence/{path}", role).status_code == 200
    assert (write(live, "checkpoint", role).status_code == 200) is (role in {"manager", "auditor"})
    if role != "manager":
        refused(write(live, "keys", role), 403, "not-allowed")


@pytest.mark.parametrize(
    ("path", "status", "kind", "word"),
    [
        ("proofs/0", 400, "invalid-parameter", "position does not fit"),
        ("proofs/first", 400, "invalid-parameter", "position does not fit"),
        ("proofs/999999", 422, "position-ahead", "The log ends at position"),
        ("proofs/1?size=2", 404, "not-found", "No checkpoint was signed over 2 events"),
        ("proofs/7?size=6", 404, "not-found", "covers 6 events"),
        ("proofs/1?size=-1", 400, "invalid-parameter", "size does not fit"),
        ("consistency?first=6", 400, "invalid-parameter", "Name the sizes of two checkpoints"),
        ("consistency?first=7&second=6", 400, "invalid-parameter", "name the smaller one first"),
        ("consistency?first=6&second=7", 404, "not-found", "No checkpoint was signed over 7 events"),
        ("checkpoints?limit=0", 400, "invalid-parameter", "limit does not fit"),
        ("checkpoints?limit=1001", 400, "invalid-parameter", "limit does not fit"),
    ],
)
def test_a_question_that_makes_no_sense_is_answered_with_what_does(live, path, status, kind, word):
    refused(live.get(f"/parks/{live.park}/evidence/{path}"), status, kind, word)


def test_a_hole_in_the_stored_tree_is_mended(park):
    live, database = park
    with psycopg.connect(database.admin_url, autocommit=True) as owner:
        owner.execute("DELETE FROM evidence.tile WHERE level = 0 AND index = 0")
    refused(live.get(f"/parks/{live.park}/evidence/proofs/2"), 503, "unavailable", "Tile 0 of level 0", "made again")
    sign(live)
    assert proofs.verify(read(live, "proofs/2", Proof), keys_of(live)).size == live.head()


def test_the_park_says_how_far_it_is_covered(live):
    sign(live)
    evidence = live.http.get("/ready").json()["parks"][live.park]["evidence"]
    assert (evidence["state"], evidence["size"], evidence["why"]) == ("signed", live.head(), "")


# From the terminal


@pytest.fixture(scope="module", name="terminal")
def _terminal(park, tmp_path_factory):
    """`fieldledger audit …` beside the running park: what it prints, what it says against it, and how it ends."""
    live, database = park
    state = tmp_path_factory.mktemp("state")
    (state / "outside").symlink_to(live.running.app.state.outside)
    return partial(terminal(database, state), "audit")


def test_the_terminal_prints_the_newest_checkpoint_or_has_one_signed(live, terminal):
    assert terminal("checkpoint").stdout == newest(live)
    record(live, 1)
    printed = terminal("checkpoint", "--sign").stdout
    assert printed == newest(live)
    assert Checkpoint.parse(note.read(printed).text).size == live.head()


def test_the_terminal_proves_an_event_and_two_checkpoints(live, terminal):
    keys, sizes = keys_of(live), [one.size for one in listed(live)]
    proof = msgspec.json.decode(terminal("proof", "9").stdout, type=Proof)
    assert proofs.verify(proof, keys).size == sizes[0]
    consistent = msgspec.json.decode(terminal("consistency", "6", str(sizes[0])).stdout, type=ConsistencyProof)
    assert [head.size for head in proofs.verify_continuity(consistent, keys)] == [6, sizes[0]]


def test_the_terminal_adopts_a_new_key(live, terminal):
    before = keys_of(live)
    printed = note.read(terminal("rotate-key").stdout)
    after = keys_of(live)
    assert after[:-1] == before
    assert printed.open(after) == (before[-1], after[-1])


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        (("proof", "99999999"), "Position 99999999 is not under that checkpoint"),
        (("proof", "1", "--size", "2"), "No checkpoint of {park} was signed over 2 events"),
        (("consistency", "7", "6"), "name the smaller checkpoint first"),
        (("checkpoint", "--park", "elsewhere"), "elsewhere|--park"),
    ],
)
def test_the_terminal_says_what_is_wrong(live, terminal, arguments, sentence):
    ended = terminal(*arguments)
    assert (ended.returncode, ended.stdout) == (1, "")
    assert any(part in ended.stderr for part in sentence.format(park=live.park).split("|")), ended.stderr


# At closing time


def test_closing_the_day_has_a_checkpoint_signed_at_once(databases, nats_urls):
    database = databases.create()
    with serving(database, nats_urls) as live:
        refused(live.get(f"/parks/{live.park}/evidence/checkpoint"), 404, "not-found", "No checkpoint has been signed")
        record(live, 2)
        assert live.post("park/close-day", {"closed": "2026-05-09"}).status_code == 201
        assert live.portal.call(_announced, nats_urls.service, live.park) == newest(live)
        head = Checkpoint.parse(note.read(newest(live)).text)
        assert head.size == live.head() == 4
    databases.drop(database)


async def _announced(url, park):
    """What arrives at whoever listens, or has arrived."""
    client = await nats.connect(url)
    try:
        subscription = await client.jetstream().subscribe(f"checkpoint.{park}", ordered_consumer=False)
        return (await subscription.next_msg(10)).data.decode()
    finally:
        await client.close()
