"""Seals open only for what they were made for; the primitives are held against published vectors.

AES-256-GCM: test cases 13, 14 and 16 of the GCM specification submitted to NIST, which SP 800-38D adopted. HKDF-SHA-256: RFC 5869,
appendix A.3 (no salt, no info). Both from memory, and compared with copies of them in public repositories.
"""

import hmac
from hashlib import sha256

import pytest
from cryptography.hazmat.primitives.ciphers.aead import AESGCM
from hypothesis import given
from hypothesis import strategies as st
from msgspec.structs import replace

from contracts.words import PersonId
from services.vault import sealing
from services.vault.sealing import Label, MasterKey, PersonKey, SealBroken
from tests.unit.instances import strategy

KEY = "feffe9928665731c6d6a8f9467308308" * 2
PLAIN = (
    "d9313225f88406e5a55909c5aff5269a86a7a9531534f7da2e4c303d8a318a72"
    "1c3c0c95956809532fcf0e2449a6b525b16aedf5aa0de657ba637b39"
)
CIPHER = (
    "522dc1f099567d07f47f37a32a84427d643a8cdcbfe5c0c97598a2bd2555d1aa"
    "8cb08e48590dbb3da7b08b1056828838c5f61e6393ba7a0abcc9f662"
)
GCM = {
    "13": ("00" * 32, "00" * 12, "", "", "", "530f8afbc74536b9a963b4f1c4cb738b"),
    "14": ("00" * 32, "00" * 12, "00" * 16, "", "cea7403d4d606b6e074ec5d3baf39d18", "d0d1c8a799996bf0265b98b5d48ab919"),
    "16": (
        KEY,
        "cafebabefacedbaddecaf888",
        PLAIN,
        "feedfacedeadbeeffeedfacedeadbeefabaddad2",
        CIPHER,
        "76fc6ece0f4e1768cddf8853bb2d551b",
    ),
}
ASH = Label(park="larchmoor", person="ash", entry="d1", kind="note")
NAMES = strategy(PersonId)


@pytest.mark.parametrize("case", GCM)
def test_a_seal_is_aes_256_gcm_with_its_nonce_before_it(monkeypatch, case):
    key, nonce, plain, bound, cipher, tag = map(bytes.fromhex, GCM[case])
    monkeypatch.setattr(sealing.secrets, "token_bytes", lambda length: nonce[:length])
    assert sealing._seal(AESGCM(key), bound, plain) == nonce + cipher + tag
    assert sealing._open(AESGCM(key), bound, nonce + cipher + tag) == plain


def test_a_key_is_derived_by_hkdf_sha_256():
    okm = "8da4e775a563c18f715f802a063c5a31b8a11f5c5ee1879ec3454e5f3c738d2d"
    assert sealing.derived(b"\x0b" * 22, b"") == bytes.fromhex(okm)


def test_a_digest_is_hmac_sha_256_under_a_key_that_seals_nothing():
    secret = bytes(range(32))
    expected = hmac.digest(
        sealing.derived(secret, b"fieldledger vault digest 1"),
        b"fieldledger detail 1\nlarchmoor\nash\nd1\nnote\nThe text.",
        sha256,
    )
    assert PersonKey(secret).digest(ASH, "The text.") == expected.hex()


@given(text=st.text(min_size=1), park=NAMES, person=NAMES, entry=NAMES, kind=st.sampled_from(["name", "note"]))
def test_a_detail_comes_back_from_its_seal(text, park, person, entry, kind):
    label = Label(park=park, person=person, entry=entry, kind=kind)
    key = PersonKey(b"k" * 32)
    assert key.open(label, key.seal(label, text)) == text


@given(text=st.text(min_size=1), part=st.sampled_from(["park", "person", "entry", "kind"]), other=NAMES)
def test_a_seal_opens_for_no_other_park_person_entry_or_kind(text, part, other):
    key, foreign = PersonKey(b"k" * 32), replace(ASH, **{part: other})
    sealed = key.seal(ASH, text)
    if foreign == ASH:
        return
    with pytest.raises(SealBroken):
        key.open(foreign, sealed)
    assert key.digest(foreign, text) != key.digest(ASH, text)


@given(a=st.tuples(NAMES, NAMES, NAMES, NAMES), b=st.tuples(NAMES, NAMES, NAMES, NAMES))
def test_no_two_labels_bind_the_same_bytes(a, b):
    one, other = (Label(park=p, person=q, entry=e, kind=k) for p, q, e, k in (a, b))
    assert (one.bound == other.bound) is (a == b)


@given(text=st.text(min_size=1, max_size=40), at=st.integers(0), bit=st.integers(0, 7))
def test_a_seal_of_which_one_bit_changed_does_not_open(text, at, bit):
    key = PersonKey(b"k" * 32)
    sealed = bytearray(key.seal(ASH, text))
    sealed[at % len(sealed)] ^= 1 << bit
    with pytest.raises(SealBroken):
        key.open(ASH, bytes(sealed))


@pytest.mark.parametrize("sealed", [b"", b"short", b"x" * 12, b"x" * 27])
def test_what_is_no_seal_at_all_does_not_open(sealed):
    with pytest.raises(SealBroken):
        PersonKey(b"k" * 32).open(ASH, sealed)


def test_the_same_text_is_sealed_differently_each_time_and_says_nothing_of_itself():
    key = PersonKey(b"k" * 32)
    first, second = key.seal(ASH, "Quellbrook"), key.seal(ASH, "Quellbrook")
    assert first != second
    assert b"Quellbrook" not in first


def test_a_persons_key_opens_only_for_him_in_his_park_under_the_parks_own_key():
    master = MasterKey(b"m" * 32)
    wrapped = master.new("larchmoor", "ash")
    sealed = master.unwrap("larchmoor", "ash", wrapped).seal(ASH, "The text.")
    assert master.unwrap("larchmoor", "ash", wrapped).open(ASH, sealed) == "The text."
    for other, park, person in (
        (master, "larchmoor", "elm"),
        (master, "heron", "ash"),
        (MasterKey(b"n" * 32), "larchmoor", "ash"),
    ):
        with pytest.raises(SealBroken):
            other.unwrap(park, person, wrapped)


def test_two_persons_have_keys_that_do_not_open_each_others_seals_nor_share_a_digest():
    master = MasterKey(b"m" * 32)
    ash, elm = (master.unwrap("larchmoor", name, master.new("larchmoor", name)) for name in ("ash", "elm"))
    with pytest.raises(SealBroken):
        elm.open(ASH, ash.seal(ASH, "The text."))
    assert ash.digest(ASH, "The text.") != elm.digest(ASH, "The text.")
    assert ash.digest_of_request(b"body") != elm.digest_of_request(b"body")
