"""Notes and keys that are not what they should be are refused, each with its sentence."""

import re
from base64 import b64encode

import pytest
from hypothesis import given
from hypothesis import strategies as st

from services.evidence import note
from services.evidence.note import NoteError, SigningKey, VerifierKey

NAME = "fieldledger/larchmoor/1"
KEY = SigningKey(NAME, b"k" * 32)
OTHER = SigningKey(NAME, b"o" * 32)
TEXT = "fieldledger/larchmoor/1\n7\n"
SIGNED = note.sign(TEXT, [KEY])
UNBREAKABLE = "no\u00a0break"


def test_a_note_is_opened_by_a_key_that_signed_it():
    assert note.read(SIGNED).text == TEXT
    assert note.read(SIGNED).open([KEY.verifier]) == (KEY.verifier,)
    assert note.read(SIGNED.encode()) == note.read(SIGNED)


def test_signatures_of_unknown_keys_are_ignored():
    both = note.read(note.sign(TEXT, [OTHER, KEY]))
    assert both.open([KEY.verifier]) == (KEY.verifier,)
    assert both.open([KEY.verifier, OTHER.verifier]) == (OTHER.verifier, KEY.verifier)


def test_a_key_of_the_same_name_is_another_key():
    with pytest.raises(NoteError, match=rf"No key that is known has signed this note.*{KEY.verifier.id.hex()}"):
        note.read(SIGNED).open([OTHER.verifier])


@pytest.mark.parametrize("known", [[], [VerifierKey("somebody", KEY.verifier.public)]])
def test_a_note_that_no_known_key_signed_is_refused(known):
    with pytest.raises(NoteError, match="No key that is known"):
        note.read(SIGNED).open(known)


def test_a_known_keys_signature_that_does_not_hold_spoils_the_note_though_another_holds():
    forged = note.sign(TEXT, [KEY]) + note.sign("another\n", [OTHER]).partition("\n\n")[2]
    assert note.read(forged).open([KEY.verifier]) == (KEY.verifier,)
    with pytest.raises(NoteError, match="not over this text"):
        note.read(forged).open([KEY.verifier, OTHER.verifier])


@given(st.integers(0, 8 * len(SIGNED.encode()) - 1))
def test_any_bit_of_a_note_that_is_turned_is_noticed(bit):
    turned = bytearray(SIGNED.encode())
    turned[bit // 8] ^= 1 << bit % 8
    with pytest.raises(NoteError):
        note.read(bytes(turned)).open([KEY.verifier])


def line(raw: bytes, name: str = NAME) -> str:
    return f"\u2014 {name} {b64encode(raw).decode()}\n"


@pytest.mark.parametrize(
    ("malformed", "sentence"),
    [
        (b"caf\xe9\n\n", "not UTF-8: byte 3"),
        ("", "no empty line between its text and its signatures"),
        (TEXT, "no empty line between its text and its signatures"),
        (f"\n\n{line(bytes(68))}", "text of a note is not empty"),
        (f"tab\there\n\n{line(bytes(68))}", "U+0009"),
        (f"{TEXT}\n{line(bytes(68))[:-1]}", "no line feed at its end"),
        (f"{TEXT}\n", "no line feed at its end"),
        (f"{TEXT}\n\u2013 {NAME} AAAA\n", "begins with an em dash"),
        (f"{TEXT}\n\u2014 {NAME}\n", "has 0 bytes: four name the key"),
        (f"{TEXT}\n\u2014  AAAAAAAA\n", "not empty and has neither spaces nor a plus sign"),
        (f"{TEXT}\n{line(bytes(68), 'a+b')}", "nor a plus sign: 'a+b'"),
        (f"{TEXT}\n{line(bytes(68), UNBREAKABLE)}", "neither spaces"),
        (f"{TEXT}\n\u2014 {NAME} %%%%\n", "is not in base64"),
        (f"{TEXT}\n\u2014 {NAME} AAAAAAB=\n", "another text means the same bytes"),
        (f"{TEXT}\n{line(b'1234')}", "has 4 bytes: four name the key"),
        (f"{TEXT}\n{line(bytes(68)) * 65}", "has 65 signatures; at most 64 are read"),
    ],
)
def test_a_malformed_note_is_refused_with_what_is_wrong(malformed, sentence):
    with pytest.raises(NoteError, match=re.escape(sentence)):
        note.read(malformed)


def test_a_signature_cut_short_does_not_hold():
    short = f"{TEXT}\n{line(KEY.verifier.id + KEY.sign(TEXT)[:-1])}"
    with pytest.raises(NoteError, match="not over this text"):
        note.read(short).open([KEY.verifier])


@pytest.mark.parametrize("text", ["", "\n", "no line feed", "a\rb\n"])
def test_what_cannot_be_a_note_is_not_signed(text):
    with pytest.raises(NoteError, match="The text of a note"):
        note.sign(text, [KEY])


@pytest.mark.parametrize("name", ["", "two words", "a+b", "line\nfeed", UNBREAKABLE])
def test_a_key_that_could_not_be_named_in_a_note_is_not_made(name):
    with pytest.raises(NoteError, match="A key's name"):
        SigningKey.make(name)


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("", "is no verifier key"),
        ("one+two", "is no verifier key"),
        ("a b+00000000+AAAA", "neither spaces"),
        (f"{NAME}+00000000+!!!", "is not in base64"),
        (f"{NAME}+00000000+{b64encode(bytes([2] * 33)).decode()}", "no Ed25519 key"),
        (f"{NAME}+00000000+{b64encode(bytes([1] * 32)).decode()}", "no Ed25519 key"),
        (KEY.verifier.text.replace(KEY.verifier.id.hex(), "00000000"), "calls itself 00000000, but its id is"),
    ],
)
def test_a_malformed_key_is_refused_with_what_is_wrong(text, sentence):
    with pytest.raises(NoteError, match=re.escape(sentence)):
        VerifierKey.parse(text)


def test_a_new_key_is_another_each_time_and_does_not_show_its_secret():
    first, second = SigningKey.make(NAME), SigningKey.make(NAME)
    assert first.seed != second.seed
    assert repr(first) == f"SigningKey({first.verifier.text})"
