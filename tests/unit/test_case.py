"""A case file: what leaves the park, what the report says, and every way in which a file is not what the park signed."""

import json
import re
import subprocess
import sys
import zipfile
from io import BytesIO
from pathlib import Path
from uuid import UUID

import msgspec
import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st
from pypdf import PdfReader

from contracts.catalogue import EVENTS, TYPES
from contracts.discipline import CautionRecorded, CautionResolved
from contracts.envelope import Unknown
from contracts.games import HeadsCounted, Offender, StartRefused
from contracts.incidents import IncidentRecorded
from contracts.reasons import REASONS, reason
from contracts.vault import About, DetailKept, ErasureRefused
from services.audit.cases import archive
from services.audit.cases.case import STRANGER, case_file
from services.audit.cases.examination import examine
from services.audit.cases.proofs import chain
from services.audit.cases.redaction import Own, view, whole
from services.audit.cases.report import verifying
from services.audit.cases.report.content import Entry, Report, Seal, Section, Table
from services.audit.cases.report.pdf import pdf
from services.evidence.note import SigningKey, sign
from services.vault.model import CONCERNS
from tests.unit.case_park import (
    ASH,
    BASIS,
    ELM,
    KEY,
    MORNING,
    OLD_KEY,
    OPENS,
    ORIGIN,
    PASSES,
    UNPAID,
    adoption,
    evidence_of,
    gathered,
    rows_of,
    small_file,
)  # fmt: skip
from tests.unit.instances import plain

VERIFY = STRANGER / "verify.py"
STRANGERS_KEY = SigningKey(ORIGIN, bytes([9] * 32))


def stranger(path, *more):
    """What the page of independent Python makes of a file, as a stranger would run it: isolated, with the standard library only."""
    return subprocess.run(
        [sys.executable, "-I", "-S", str(VERIFY), str(path), *more], capture_output=True, text=True, check=False, timeout=60
    )  # fmt: skip


def refused_by_both(data, tmp_path, *words, key=""):
    """Asserts that both verifiers refuse the file with a sentence that holds these words."""
    path = tmp_path / "case.zip"
    path.write_bytes(data)
    ours = examine(data, key)
    theirs = stranger(path, *(["--key", key] if key else []))
    assert ours.wrong
    assert ours.proven == ()
    assert theirs.returncode == 1
    for word in words:
        assert any(word in sentence for sentence in ours.wrong), ours.wrong
        assert word in theirs.stderr, theirs.stderr


def with_files(change, data=None):
    """The ZIP again, after `change` was made to its files by name."""
    with zipfile.ZipFile(BytesIO(data or small_file())) as whole_file:
        files = {name: whole_file.read(name) for name in whole_file.namelist()}
    change(files)
    return archive.zipped(files)


def signed_anew(change, keys=(KEY,)):
    """A file whose maker holds a key: changed, then given a new manifest that is signed with it."""

    def remake(files):
        change(files)
        rest = {name: content for name, content in files.items() if not name.startswith("MANIFEST")}
        files[archive.MANIFEST] = archive.manifest(rest).encode()
        files[archive.SIGNATURE] = sign(archive.manifest(rest), keys).encode()

    return with_files(remake)  # fmt: skip


def incident(name, players, markers):
    return IncidentRecorded(
        incident=name,
        kind="injury",
        field="birch",
        game="birch-1",
        players=players,
        markers=markers,
        masks=(),
        emergency_services=False,
    )


NAMES = sorted(archive.unpacked(small_file()))


def test_a_good_file_passes_with_us_and_with_the_page_of_independent_python(tmp_path):
    path = tmp_path / "case.zip"
    path.write_bytes(small_file())
    ours, theirs = examine(small_file()), stranger(path)
    assert ours.wrong == ()
    assert "19 events are here byte for byte" in ours.proven[1]
    assert ours.proven[2].startswith("1 more are withheld")
    assert theirs.returncode == 0, theirs.stderr
    assert "every event lies under its checkpoint" in theirs.stdout
    with zipfile.ZipFile(path) as whole_file:
        whole_file.extractall(tmp_path / "unpacked")
    unpacked = subprocess.run(
        [sys.executable, "-I", "verify.py"], cwd=tmp_path / "unpacked", capture_output=True, check=False
    )
    assert unpacked.returncode == 0


def test_the_same_case_gives_the_same_bytes():
    small_file.cache_clear()
    first = small_file()
    small_file.cache_clear()
    assert small_file() == first


@pytest.mark.parametrize("name", NAMES)
def test_a_changed_byte_in_any_file_is_found_and_the_file_is_named(name, tmp_path):
    def change(files):
        content = bytearray(files[name])
        content[len(content) // 2] ^= 1
        files[name] = bytes(content)

    refused_by_both(with_files(change), tmp_path, name)


@pytest.mark.parametrize("name", [name for name in NAMES if name.endswith(".leaf")])
def test_a_changed_leaf_is_found_by_its_proof_even_where_the_park_signs_it_anew(name, tmp_path):
    def change(files):
        files[name] = files[name].replace(b"staff-wren", b"staff-jays")

    position = re.search(r"\d+", name).group()
    refused_by_both(signed_anew(change), tmp_path, f"Event {position}: ", name)


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_whichever_bit_is_flipped_the_file_is_named(data):
    name = data.draw(st.sampled_from(NAMES))
    content = bytearray(archive.unpacked(small_file())[name])
    at = data.draw(st.integers(0, len(content) - 1))
    content[at] ^= 1 << data.draw(st.integers(0, 7))
    changed = with_files(lambda files: files.update({name: bytes(content)}))
    assert any(name in sentence for sentence in examine(changed).wrong)


def container_bytes():
    """The places of the bytes that are the ZIP's own: between the files, and behind them."""
    inside = set()
    with zipfile.ZipFile(BytesIO(small_file())) as whole_file:
        for entry in whole_file.infolist():
            begins = entry.header_offset + 30 + len(entry.filename)
            inside |= set(range(begins, begins + entry.file_size))
    return sorted(set(range(len(small_file()))) - inside)


@settings(max_examples=400, deadline=None)
@given(at=st.sampled_from(container_bytes()), bit=st.integers(0, 7))
def test_a_bit_of_the_zip_itself_is_found_whichever_it_is(at, bit):
    changed = bytearray(small_file())
    changed[at] ^= 1 << bit
    assert examine(bytes(changed)).wrong


def _in_front(data):
    return with_files(lambda files: files.update({"report.pdf": b"%PDF-forged"})) + data


def _behind(data):
    return data + b"more"


def _commented(data):
    return data[:-2] + b"\x05\x00words"


def _packed_again(data, method=zipfile.ZIP_STORED):
    made = BytesIO()
    with zipfile.ZipFile(made, "w", method) as zipped:
        for name, content in archive.unpacked(data).items():
            zipped.writestr(name, content)
    return made.getvalue()


def _a_longer_name(data):
    """A zero ends a name for Python, and for other tools it does not."""
    return packed_as(data, lambda name: f"{name}\0.exe" if name == "README.txt" else name)


def packed_as(data, renamed):
    made = BytesIO()
    with zipfile.ZipFile(made, "w") as zipped:
        for name, content in archive.unpacked(data).items():
            entry = zipfile.ZipInfo(name, (1980, 1, 1, 0, 0, 0))
            entry.filename = entry.orig_filename = renamed(name)
            zipped.writestr(entry, content)
    return made.getvalue()


@pytest.mark.parametrize("change", [_in_front, _behind, _commented, _packed_again, _a_longer_name])
def test_a_zip_that_holds_anything_beside_its_files_is_refused(change, tmp_path):
    """Another tool may unpack what lies there: the first of two archives, or an entry that no directory names."""
    refused_by_both(change(small_file()), tmp_path)


def test_a_compressed_zip_is_refused_whether_it_unpacks_or_not(tmp_path):
    refused_by_both(_packed_again(small_file(), zipfile.ZIP_DEFLATED), tmp_path, "compressed")
    broken = bytearray(small_file())
    broken[broken.index(b"PK\1\2") + 10] = 8  # the first entry is said to be deflated
    refused_by_both(bytes(broken), tmp_path, "compressed")


@pytest.mark.parametrize("name", NAMES)
def test_a_file_that_was_taken_out_is_named(name, tmp_path):
    refused_by_both(with_files(lambda files: files.pop(name)), tmp_path, name)


def test_a_file_that_was_put_in_is_named(tmp_path):
    refused_by_both(
        with_files(lambda files: files.update({"events/99.leaf": b"x"})),
        tmp_path,
        "events/99.leaf is not in the manifest",
    )


@pytest.mark.parametrize("name", ["MANIFEST.pdf", "MANIFEST-2", "MANIFEST/report.pdf", "../report.pdf", "hashlib.py"])
def test_whatever_it_is_called_a_file_that_was_put_in_is_named(name, tmp_path):
    refused_by_both(with_files(lambda files: files.update({name: b"x"})), tmp_path, f"{name} is not in the manifest")


@pytest.mark.parametrize("more", [b"more", b"\xe2\x80\x94 other AAAAAAAA\n", b"\n"])
def test_what_was_put_behind_the_signature_is_found(more, tmp_path):
    refused_by_both(
        with_files(lambda files: files.update({"MANIFEST.sig": files["MANIFEST.sig"] + more})), tmp_path, "MANIFEST.sig"
    )


def test_a_module_that_was_put_beside_the_independent_page_is_not_run(tmp_path):
    folder = tmp_path / "unpacked"
    with zipfile.ZipFile(BytesIO(small_file())) as whole_file:
        whole_file.extractall(folder)
    (folder / "hashlib.py").write_text("print('run'); raise SystemExit(0)")
    for isolated, told in (([], "python3 -I verify.py"), (["-I"], "hashlib.py is not in the manifest")):
        command = [sys.executable, *isolated, "verify.py"]
        done = subprocess.run(command, cwd=folder, capture_output=True, text=True, check=False)
        assert (done.returncode, done.stdout) == (1, "")
        assert told in done.stderr


def test_two_leaves_that_changed_places_are_found_even_where_the_park_signs_it_anew(tmp_path):
    def swap(files):
        files["events/10.leaf"], files["events/11.leaf"] = files["events/11.leaf"], files["events/10.leaf"]

    refused_by_both(with_files(swap), tmp_path, "events/10.leaf was changed", "events/11.leaf was changed")
    refused_by_both(signed_anew(swap), tmp_path, "Event 10: ", "Event 11: ")


def test_a_leaf_under_another_name_is_found(tmp_path):
    def rename(files):
        proofs = json.loads(files["proofs.json"])
        one = next(event for event in proofs["events"] if event["position"] == 10)
        one["position"] = 26
        files["events/26.leaf"] = files.pop("events/10.leaf")
        files["proofs.json"] = json.dumps(proofs).encode()

    refused_by_both(signed_anew(rename), tmp_path, "Event 26: events/26.leaf")


def test_a_wrong_proof_is_found(tmp_path):
    def bend(files):
        proofs = json.loads(files["proofs.json"])
        hashes = proofs["events"][3]["hashes"]
        hashes[0], hashes[1] = hashes[1], hashes[0]
        files["proofs.json"] = json.dumps(proofs).encode()

    def shorten(files):
        proofs = json.loads(files["proofs.json"])
        proofs["events"][3]["hashes"].pop()
        files["proofs.json"] = json.dumps(proofs).encode()

    refused_by_both(signed_anew(bend), tmp_path, "Event 4: its proof")
    refused_by_both(signed_anew(shorten), tmp_path, "Event 4: its proof")


def test_a_leaf_without_a_proof_is_found(tmp_path):
    def forget(files):
        proofs = json.loads(files["proofs.json"])
        del proofs["events"][3]
        files["proofs.json"] = json.dumps(proofs).encode()

    refused_by_both(signed_anew(forget), tmp_path, "events/4.leaf has no proof")


def test_a_view_must_say_that_its_event_is_withheld_and_which_it_is(tmp_path):
    def unmark(files):
        files["events/20.view.json"] = files["events/20.view.json"].replace(b'"withheld": true', b'"withheld": false')

    def mistake(files):
        files["events/20.view.json"] = files["events/20.view.json"].replace(b'"position": 20', b'"position": 21')

    def bury(files):
        files["events/20.view.json"] = b'{"withheld":' + b"[" * 100_000

    refused_by_both(signed_anew(bury), tmp_path)
    refused_by_both(signed_anew(unmark), tmp_path, "Event 20: ", "withheld")
    refused_by_both(signed_anew(mistake), tmp_path, "events/20.view.json speaks of another event")


def test_a_forged_key_is_found_by_whoever_knows_the_parks_key(tmp_path):
    rows = rows_of(MORNING)
    case, stories = gathered(rows, "player", "player-ash")
    forged = case_file(case, stories, evidence_of(rows, case, (STRANGERS_KEY,)))
    assert examine(forged).wrong == ()
    refused_by_both(forged, tmp_path, "does not name the key that you gave", key=KEY.verifier.text)


def test_a_signature_of_a_key_that_is_not_the_parks_is_found(tmp_path):
    refused_by_both(signed_anew(lambda _: None, (STRANGERS_KEY,)), tmp_path, "MANIFEST.sig")
    note = sign(
        "fieldledger/larchmoor/1\n25\nAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA=\n2026-05-09T18:00:00Z\n",
        [STRANGERS_KEY],
    )
    refused_by_both(
        signed_anew(lambda files: files.update({"checkpoint.txt": note.encode()})), tmp_path, "checkpoint.txt"
    )


def test_whoever_knows_the_old_key_follows_the_rotation_to_the_new_one(tmp_path):
    assert examine(small_file(), OLD_KEY.verifier.text).wrong == ()
    path = tmp_path / "case.zip"
    path.write_bytes(small_file())
    assert stranger(path, "--key", OLD_KEY.verifier.text).returncode == 0


def _not_signed_by_the_old_key(adopted):
    note = adopted["proof"]["checkpoint"]
    adopted["proof"]["checkpoint"] = sign(note.rpartition("\n\n")[0] + "\n", [KEY])


def _of_another_event(adopted):
    adopted["proof"] |= {"leaf": adopted["proof"]["leaf"].replace("key_adopted", "key_forgot")}


def _of_another_key(adopted):
    adopted["proof"] |= msgspec.to_builtins(adoption(OLD_KEY, STRANGERS_KEY).proof)


def _not_proven(adopted):
    adopted["proof"] = None


BROKEN = (_not_signed_by_the_old_key, _of_another_event, _of_another_key, _not_proven)


@pytest.mark.parametrize("broken", BROKEN)
def test_a_broken_chain_of_keys_is_found(broken, tmp_path):
    def change(files):
        adopted = json.loads(files["rotations/1.json"])
        broken(adopted)
        files["rotations/1.json"] = json.dumps(adopted).encode()

    refused_by_both(signed_anew(change), tmp_path, "rotations/1.json")


def test_a_key_that_nobody_adopted_is_not_vouched_for(tmp_path):
    other = f"{STRANGERS_KEY.verifier.text}\n{KEY.verifier.text}\n".encode()
    refused_by_both(signed_anew(lambda files: files.update({"keys.txt": other})), tmp_path, "rotations/1.json")


def test_who_signs_beside_the_park_on_a_checkpoint_of_its_own_is_not_its_next_key(tmp_path):
    """Any checkpoint is public, and anybody can append a signature to it: that both have signed proves no adoption."""
    rows = rows_of(MORNING)
    case, stories = gathered(rows, "player", "player-ash")
    public = evidence_of(rows, case, (KEY,)).checkpoint
    beside = public + sign(public.rpartition("\n\n")[0] + "\n", [STRANGERS_KEY]).rpartition("\n\n")[2]
    forged = adoption(KEY, STRANGERS_KEY)
    proof = msgspec.structs.replace(forged.proof, checkpoint=beside, size=len(rows))
    made = msgspec.structs.replace(
        evidence_of(rows, case, (KEY, STRANGERS_KEY)), rotations=(msgspec.structs.replace(forged, proof=proof),)
    )
    refused_by_both(case_file(case, stories, made), tmp_path, "rotations/1.json", key=KEY.verifier.text)


def test_a_chain_of_keys_begins_anew_behind_an_adoption_that_a_restore_has_lost():
    first, second = adoption(OLD_KEY, KEY), adoption(KEY, STRANGERS_KEY)
    lost = msgspec.structs.replace(second, replaces=None)
    texts = [key.verifier.text for key in (OLD_KEY, KEY, STRANGERS_KEY)]
    assert chain([first, second], texts[2]) == (tuple(texts), (first, second))
    assert chain([first], texts[1]) == (tuple(texts[:2]), (first,))
    assert chain([first, lost], texts[2]) == ((texts[2],), ())
    assert chain([], texts[0]) == ((texts[0],), ())
    unproven = msgspec.structs.replace(second, proof=None)
    assert chain([first, unproven], texts[2]) == ((texts[2],), ())


def test_a_manifest_that_another_one_was_signed_for_is_found(tmp_path):
    def change(files):
        files["README.txt"] += b"\n"
        rest = {name: content for name, content in files.items() if not name.startswith("MANIFEST")}
        files["MANIFEST"] = archive.manifest(rest).encode()

    refused_by_both(with_files(change), tmp_path, "MANIFEST")


def test_what_is_no_case_file_is_said_so(tmp_path):
    refused_by_both(b"Larchmoor", tmp_path)
    refused_by_both(small_file()[:-40], tmp_path)
    assert "no whole ZIP" in examine(b"Larchmoor").wrong[0]
    empty = BytesIO()
    zipfile.ZipFile(empty, "w").close()
    refused_by_both(empty.getvalue(), tmp_path, "MANIFEST")


@pytest.mark.filterwarnings("ignore:Duplicate name")
def test_two_files_of_one_name_are_refused(tmp_path):
    made = BytesIO(small_file())
    with zipfile.ZipFile(made, "a") as zipped:
        zipped.writestr("README.txt", archive.unpacked(small_file())["README.txt"])
    refused_by_both(made.getvalue(), tmp_path, "same name")


def test_the_steps_of_the_readme_are_taken_as_written(tmp_path):
    """sha256sum, openssl 3 and Python on the unpacked file, each command as README.txt gives it."""
    folder = tmp_path / "unpacked"
    with zipfile.ZipFile(BytesIO(small_file())) as whole_file:
        whole_file.extractall(folder)
    readme = (folder / "README.txt").read_text()
    events = json.loads((folder / "proofs.json").read_text())["events"]
    held = sum(one["withheld"] for one in events)
    assert f"{len(events) - held} are here byte for byte; {held} are withheld" in readme
    commands = "\n".join(line.strip() for line in readme.splitlines() if line.startswith("     "))
    commands = commands.replace("KEY'", f"{KEY.verifier.text}'")
    done = subprocess.run(
        ["bash", "-ec", commands], cwd=folder, capture_output=True, text=True, check=False, timeout=60
    )
    assert done.returncode == 0, done.stdout + done.stderr
    assert "Signature Verified Successfully" in done.stdout
    assert done.stdout.count("OK\n") == len(NAMES) - 2
    assert all(command.splitlines()[0] in readme for _, command in verifying.STEPS if command)


def test_of_another_player_nothing_but_his_id_is_in_any_file():
    files = archive.unpacked(small_file())
    everything = b"".join(files.values()) + text_of(small_file()).encode()
    assert ELM.encode() in everything
    for secret in (PASSES[1], "marker-32", "mask-32", "orange", "entry_unpaid", "not paid", "caution-6", "person-elm"):
        assert secret.encode() not in everything, secret
    words = b"".join(content for name, content in files.items() if name != "report.pdf")
    assert not re.search(rb"(?<![0-9a-zA-Z])532(?![0-9a-zA-Z])", words + text_of(small_file()).encode())


EVENING = (
    *MORNING,
    HeadsCounted(field="birch", game="birch-1", expected=2, counted=0, accounted=(ASH,), missing=(ELM,)),
    incident("incident-2", players=(ASH, ELM), markers=("marker-31", "marker-32")),
    incident("incident-3", players=(ELM,), markers=("marker-32",)),
    CautionRecorded(
        caution="caution-7", player=None, field="birch", game="birch-1", colour="orange", armband=532, violation="wiping", weight=1
    ),
    CautionResolved(
        caution="caution-7", player=ASH, violation="wiping", weight=1, field="birch", game="birch-1", happened_at=OPENS
    ),
    StartRefused(
        basis=BASIS,
        reasons=(reason("heads_missing", "field:birch", f"Game birch-0: {ELM}."),),
        game="birch-2",
        field="birch",
        offenders=(Offender(player=ASH, reasons=(UNPAID,)),),
    ),
    DetailKept(
        person="person-witness", entry="detail-1", kind="note", digest="0" * 64, about=About(incident="incident-1", player=ELM)
    ),
)  # fmt: skip


def evening(kind, subject):
    """The sentences of a case about the whole day by position, all of its words, and the views in it."""
    rows = rows_of(EVENING)
    case, stories = gathered(rows, kind, subject)
    files = archive.unpacked(case_file(case, stories, evidence_of(rows, case)))
    told = {one["position"]: one["sentence"] for one in json.loads(files["story.json"])["stories"][0]["events"]}
    words = b"\n".join(content for name, content in files.items() if name != "report.pdf").decode()
    return told, words, {name: json.loads(text)["data"] for name, text in files.items() if "view" in name}


def test_a_sentence_says_no_more_of_others_than_the_view_does():
    told, words, _ = evening("player", ASH)
    counted, hurt, _, cautioned, _, refused, _ = range(len(MORNING) + 1, len(EVENING) + 1)
    assert told[counted] == (
        "After game birch-1 0 heads came off field birch; 2 were expected. Seen elsewhere: player player-ash. "
        "What more it says is about others, and withheld."
    )
    assert told[hurt].startswith("Incident incident-2 was recorded on field birch in game birch-1: injury, concerning")
    assert "marker-31" in told[hurt]
    assert told[cautioned] == "Caution recorded, told in part. What more it says is about others, and withheld."
    assert told[refused] == (
        "Game birch-2 was not let onto field birch: \N{LEFT DOUBLE QUOTATION MARK}The head-count of the last game is still open."
        "\N{RIGHT DOUBLE QUOTATION MARK} Player player-ash was not cleared: \N{LEFT DOUBLE QUOTATION MARK}Your entry is not paid."
        "\N{RIGHT DOUBLE QUOTATION MARK} What more it says is about others, and withheld."
    )
    for secret in ("marker-32", "orange", "armband 532", "Missing", "birch-0: player-elm"):
        assert secret not in words, secret


def test_the_bytes_of_a_withheld_event_cannot_be_guessed_from_its_hash():
    """An armband has four digits; the event's id, a UUID, has more random bits than anybody can try (RFC 9562, 6.9, from memory)."""
    files = archive.unpacked(small_file())
    (withheld,) = (name for name in files if name.endswith(".view.json"))
    position = int(re.search(r"\d+", withheld).group())
    (told,) = (one for one in json.loads(files["story.json"])["stories"][0]["events"] if one["position"] == position)
    assert told["id"] == ""
    assert not [name for name, content in files.items() if str(UUID(int=position)).encode() in content]


def test_a_guardian_is_not_told_for_whose_sake_his_data_stay():
    ward = reason(
        "claims_period", "person:person-ward", f"They stay through 2031-05-09. {CONCERNS}person-ward, for whom."
    )
    own = reason("claims_period", "person:person-rowan", "They stay through 2030-05-09.")
    refused = ErasureRefused(basis=BASIS, reasons=(own, ward), person="person-rowan")
    told = view("vault.erasure_refused", refused, Own(persons=frozenset({"person-rowan"})))
    assert told["reasons"][0] == whole(own)
    assert told["reasons"][1] == {
        "code": "claims_period",
        "sentence": REASONS["claims_period"].sentence,
        "where": own.where,
    }


def test_who_else_was_hurt_near_by_is_not_told():
    told, words, views = evening("incident", "incident-1")
    *_, other, _, _, _, kept = range(1, len(EVENING) + 1)
    assert views[f"events/{other}.view.json"]["players"] == []
    assert views[f"events/{kept}.view.json"] == {
        "person": None, "entry": "detail-1", "kind": "note", "digest": "0" * 64, "about": {"incident": "incident-1"}
    }  # fmt: skip
    assert told[kept] == "Detail kept, told in part. What more it says is about others, and withheld."
    assert "person-witness" not in words


def test_what_is_his_own_is_there_whole():
    files = archive.unpacked(small_file())
    assert b'"armband":417' in files["events/14.leaf"]
    assert b"person-rowan" in files["events/13.leaf"]
    assert b"person-hazel" in files["events/13.leaf"], "the adult whom his guardian named"
    assert json.loads(files["events/20.view.json"])["data"]["entrants"] == [
        {"player": "player-ash", "colour": "red"},
        {"player": "player-elm"},
    ]


@pytest.mark.parametrize("name", sorted(EVENTS))
def test_a_view_of_an_event_that_is_all_ones_own_withholds_nothing(name):
    data = plain(EVENTS[name])
    own = Own(
        players=frozenset({"player-1"}),
        persons=frozenset({"person-1"}),
        tags=frozenset({"marker:marker-1", "mask:mask-1", "bottle:bottle-1"}),
        armbands=frozenset({7}),
    )  # fmt: skip
    assert view(name, data, own) == whole(data)


@pytest.mark.parametrize("name", sorted(name for name, kind in EVENTS.items() if "player" in kind.__struct_fields__))
def test_of_an_event_that_is_all_about_another_player_hardly_an_id_is_left(name):
    data = plain(EVENTS[name])
    told = view(name, data, Own())
    assert set(told) <= {"player"}
    if name.startswith(("discipline.", "incidents.", "registration.")):
        assert told == {}


def test_what_cannot_be_read_is_withheld():
    unknown = Unknown(
        type="games.invented", version=9, why="unknown type or version", raw=b'{"player":"player-elm","armband":532}'
    )
    assert view("games.invented", unknown, Own(players=frozenset({"player-elm"}))) == {}
    assert type(unknown) not in TYPES


def text_of(data):
    reader = PdfReader(BytesIO(archive.unpacked(data)["report.pdf"]))
    return "\n".join(page.extract_text() for page in reader.pages)


@pytest.mark.parametrize(("kind", "subject"), [("player", "player-ash"), ("incident", "incident-1")])
def test_the_report_in_print_is_pdf_a_2b_with_the_digest_on_every_page(kind, subject):
    """PDF/A-2b says of itself part 2, conformance B, in its XMP metadata (ISO 19005-2, 6.6.4; the clause from memory)."""
    data = small_file(kind, subject)
    files = archive.unpacked(data)
    reader = PdfReader(BytesIO(files["report.pdf"]))
    xmp = reader.trailer["/Root"]["/Metadata"].get_data().decode()
    assert "<pdfaid:part>2</pdfaid:part>" in xmp
    assert "<pdfaid:conformance>B</pdfaid:conformance>" in xmp
    digest = archive.sha256(files["checkpoint.txt"]).hexdigest()
    for number, page in enumerate(reader.pages, 1):
        text = page.extract_text()
        assert digest in text
        assert f"Page {number} of {len(reader.pages)}" in text


@settings(deadline=None, max_examples=25, suppress_health_check=[HealthCheck.too_slow])
@given(st.text(min_size=1, max_size=60))
@example("\U0001baa5 in a violation's title")
@example("\\u0041 \x00\x07\ufffe\u200b\u0627\u0644 \U0001f600")
def test_whatever_characters_a_park_writes_its_rules_in_the_report_is_printed(words):
    seal = Seal(origin="o", size=1, signed_at="now", digest="d", root="r", key="k")
    table = Table(columns=(words,), rows=((words,),), code=0)
    said = Section(heading=words, text=(words,), table=table, entries=(Entry(position=1, time=words, sentence=words),))
    report = Report(title=words, subtitle=words, lead=(words,), sections=(said,), seal=seal, stamp=0)
    assert pdf(report).startswith(b"%PDF-1.")


def test_the_report_for_a_browser_asks_for_nothing_else():
    page = archive.unpacked(small_file())["report.html"].decode()
    assert "default-src 'none'" in page
    assert not re.search(r"(src|href)\s*=|url\(|@import|<script|<link", page)
    assert archive.sha256(archive.unpacked(small_file())["checkpoint.txt"]).hexdigest() in page


def test_the_report_on_an_injury_says_what_is_asked_for_and_what_is_not_recorded():
    page = archive.unpacked(small_file("incident", "incident-1"))["report.html"].decode()
    rows = dict(re.findall(r"<tr><td>([^<]*)</td><td>([^<]*)</td>", page))
    assert rows["Age band"].startswith("at least 12 years")
    assert rows["Waiver"].startswith("wording w1, in language cy")
    assert rows["Guardian&#x27;s authority"].startswith("person-rowan as parent")
    assert rows["Safety briefing and its language"].startswith("version 1, in language en")
    assert rows["Mask"].startswith("mask-31, model Visor, hired")
    assert rows["Readings, strings up to the incident"].startswith(
        "marker-31 on chrono-a: 271.4, 268.9, 273 ft/s, 14.5 °C, sealed"
    )
    assert rows["Chronograph checked before"].startswith("chrono-a: good, bias +0.8 ft/s")
    assert rows["Weather at staging"].startswith("14.5 °C")
    for missing in (
        "Chronograph checked after",
        "Paint batch",
        "Medical declaration",
        "Named witnesses",
        "Referees on the field",
    ):
        assert rows[missing] == "not recorded"
        assert "<td>[  ]</td><td>" in page
    assert "not recorded" not in rows["Impounded, uncleaned, with its custody"]
    assert "checklist" in page


def test_times_are_the_parks_own_with_their_offset():
    assert (
        "2026-05-09 09:14:00 +01:00" in archive.unpacked(small_file("incident", "incident-1"))["report.html"].decode()
    )


def test_the_independent_page_knows_the_vectors_of_its_standard():
    """RFC 8032, section 7.1, test 1; and the same signature with one bit changed."""
    key = "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a"
    signature = "e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e065224901555fb8821590a33bacc61e39701cf9b46bd25bf5f0595bbe24655141438e7a100b"
    program = f"import sys; sys.path.insert(0, {str(VERIFY.parent)!r}); import verify; print([verify.ed25519(bytes.fromhex({key!r}), text, bytes.fromhex({signature!r})) for text in (b'', b'x')])"
    assert (
        subprocess.run([sys.executable, "-I", "-c", program], capture_output=True, text=True, check=True).stdout
        == "[True, False]\n"
    )


def test_the_independent_page_imports_nothing_of_ours():
    imported = re.findall(r"^(?:import|from) (\w+)", Path(VERIFY).read_text(), re.MULTILINE)
    assert set(imported) <= set(sys.stdlib_module_names)
