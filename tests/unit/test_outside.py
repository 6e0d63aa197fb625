"""What is kept outside the database: durably, in order, and the secret half for nobody else to read."""

import json
import stat

import pytest

from services.evidence import note
from services.evidence.note import SigningKey
from services.evidence.outside import SEPARATOR, Outside, OutsideUnusable

NAME = "fieldledger/larchmoor/1"
FIRST, SECOND = SigningKey(NAME, b"1" * 32), SigningKey(NAME, b"2" * 32)
NOTES = [note.sign(f"{NAME}\n{size}\n", [FIRST]) for size in range(300)]


@pytest.fixture
def outside(tmp_path):
    return Outside(tmp_path, "larchmoor")


def test_at_first_there_is_nothing(outside):
    assert (outside.keys(), outside.public_keys(), outside.last(), outside.notes()) == ((), (), None, ())


def test_keys_are_kept_in_order_and_their_public_halves_beside_them(outside, tmp_path):
    outside.add_key(FIRST)
    outside.add_key(SECOND)
    assert outside.keys() == (FIRST, SECOND)
    assert outside.public_keys() == (FIRST.verifier.text, SECOND.verifier.text)
    public = (tmp_path / "keys-larchmoor.txt").read_text()
    assert public == f"{FIRST.verifier.text}\n{SECOND.verifier.text}\n"


def test_nobody_else_can_read_the_signing_keys(outside, tmp_path):
    outside.add_key(FIRST)
    outside.add_key(SECOND)
    assert stat.S_IMODE((tmp_path / "signing-larchmoor.json").stat().st_mode) == 0o600
    assert [path.name for path in tmp_path.iterdir() if path.stat().st_mode & 0o077] == ["keys-larchmoor.txt"]


def test_notes_are_kept_in_order_each_behind_the_other(outside, tmp_path):
    for one in NOTES:
        outside.append(one)
    assert outside.notes() == tuple(NOTES)
    assert outside.last() == NOTES[-1]
    assert (tmp_path / "checkpoints-larchmoor.txt").read_text() == "".join(f"{one}{'=' * 16}\n" for one in NOTES)


def test_parks_do_not_mix(outside, tmp_path):
    outside.append(NOTES[0])
    assert Outside(tmp_path, "elsewhere").last() is None


@pytest.mark.parametrize("length", [1, 40, len(NOTES[1].encode()), len(NOTES[1].encode()) + len(SEPARATOR) - 1])
def test_what_a_crash_cut_short_is_none_and_gives_way_to_the_next(outside, tmp_path, length):
    outside.append(NOTES[0])
    with (tmp_path / "checkpoints-larchmoor.txt").open("ab") as file:
        file.write((NOTES[1].encode() + SEPARATOR)[:length])
    assert outside.last() == NOTES[0]
    assert outside.notes() == (NOTES[0],)
    outside.append(NOTES[2])
    assert outside.notes() == (NOTES[0], NOTES[2])


def test_a_crash_within_the_first_note_leaves_nothing(outside, tmp_path):
    (tmp_path / "checkpoints-larchmoor.txt").write_text(NOTES[0][:50])
    assert outside.last() is None
    outside.append(NOTES[1])
    assert outside.notes() == (NOTES[1],)


def test_a_folder_that_is_not_there_is_told_so(tmp_path):
    with pytest.raises(
        OutsideUnusable, match=r"checkpoints-larchmoor\.txt cannot be used \(No such file or directory\)"
    ):
        Outside(tmp_path / "gone", "larchmoor").append(NOTES[0])


@pytest.mark.parametrize("content", ["", "{", '[{"name": "a"}]', json.dumps([{"name": NAME, "seed": "not base64"}])])
def test_keys_that_nobody_can_read_are_told_so(outside, tmp_path, content):
    (tmp_path / "signing-larchmoor.json").write_text(content)
    with pytest.raises(OutsideUnusable, match=r"signing-larchmoor\.json holds what is not ours"):
        outside.keys()
