"""A day pass is believed for its park and its day alone, whatever was done to its code."""

import string
from datetime import date, timedelta

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from hypothesis import given, settings
from hypothesis import strategies as st

from contracts.passes import LONGEST_CODE, PREFIX, fingerprint, is_signed, pass_key, read_pass, write_pass
from contracts.problems import (
    PassExpired,
    PassKeyUnknown,
    PassNotGenuine,
    PassNotYetValid,
    PassOfAnotherPark,
    Refused,
    every,
)

PARK, DAY = "larchmoor", date(2026, 5, 9)
PRIVATE = Ed25519PrivateKey.from_private_bytes(bytes(range(32)))
OTHER = Ed25519PrivateKey.from_private_bytes(bytes(range(1, 33)))
KEY = pass_key(PRIVATE, PARK, DAY - timedelta(days=30))
CODE = "pass-7Q4M"
TEXT = write_pass(PRIVATE, PARK, DAY, CODE)


def read(text, park=PARK, day=DAY, keys=(KEY,)):
    return read_pass(text, park, day, keys)


def test_a_pass_of_the_park_and_the_day_gives_its_code():
    assert read(TEXT) == CODE


@given(st.from_regex(r"[A-Za-z0-9][A-Za-z0-9._-]{0,63}", fullmatch=True), st.dates(date(1970, 1, 1), date(2149, 6, 6)))
@settings(max_examples=50)
def test_whatever_the_code_and_the_day_what_is_written_is_read(code, day):
    key = pass_key(PRIVATE, PARK, day, day)
    assert read_pass(write_pass(PRIVATE, PARK, day, code), PARK, day, [key]) == code


def test_the_text_has_nothing_but_what_the_alphanumeric_mode_of_a_code_takes_and_any_keyboard_scanner_types():
    assert set(TEXT) <= set(string.ascii_uppercase + string.digits)


def test_a_signed_text_is_longer_than_any_bare_code():
    assert len(write_pass(PRIVATE, PARK, DAY, "p")) > LONGEST_CODE
    assert is_signed(TEXT)
    assert not is_signed("p" * LONGEST_CODE)


def test_a_scanners_line_end_and_a_keyboards_caps_lock_are_forgiven():
    assert read(f"{TEXT.lower()}\r\n") == CODE


def test_every_character_of_the_text_exchanged_for_any_other_is_refused():
    for place, right in enumerate(TEXT):
        for wrong in string.ascii_uppercase + string.digits + " $%*+-./:":
            if wrong != right:
                with pytest.raises((PassNotGenuine, PassKeyUnknown)):
                    read(TEXT[:place] + wrong + TEXT[place + 1 :])


def test_every_byte_in_the_code_flipped_by_every_bit_is_refused_with_its_problem():
    """Version, day, code and signature: not genuine. The key's id: a key that nobody knows."""
    whole = _bytes(TEXT)
    for place in range(len(whole)):
        for bit in range(8):
            flipped = bytearray(whole)
            flipped[place] ^= 1 << bit
            expected = PassKeyUnknown if 1 <= place < 5 else PassNotGenuine
            with pytest.raises(expected):
                read(_text(flipped))


def test_a_text_cut_short_anywhere_or_with_anything_behind_it_is_refused():
    for length in range(len(TEXT)):
        with pytest.raises((PassNotGenuine, PassKeyUnknown)):
            read(TEXT[:length])
    for more in ("A", "AA", "=", "======", "1", "\u017f", "\nA"):
        with pytest.raises(PassNotGenuine):
            read(TEXT + more)


def test_the_spare_bits_of_the_last_character_cannot_be_used_for_a_second_text_of_the_same_pass():
    """RFC 4648 §3.5: pad bits that are not zero may be refused; they are, or one pass would have several texts."""
    code = next(
        "p" * length for length in range(1, 6) if len(_bytes(write_pass(PRIVATE, PARK, DAY, "p" * length))) % 5 == 1
    )
    text = write_pass(PRIVATE, PARK, DAY, code)
    alphabet = string.ascii_uppercase + "234567"
    other = alphabet[alphabet.index(text[-1]) | 1]
    assert other != text[-1]
    with pytest.raises(PassNotGenuine):
        read(text[:-1] + other)


def test_a_pass_of_yesterday_is_expired_and_one_of_tomorrow_is_not_valid_yet():
    with pytest.raises(PassExpired, match="was for 2026-05-08; today is 2026-05-09"):
        read(write_pass(PRIVATE, PARK, DAY - timedelta(days=1), CODE))
    with pytest.raises(PassNotYetValid, match="is for 2026-05-10; today is 2026-05-09"):
        read(write_pass(PRIVATE, PARK, DAY + timedelta(days=1), CODE))


def test_a_pass_of_a_sister_park_whose_key_is_known_is_named_as_hers():
    sister = pass_key(OTHER, "larchmoor-north", DAY)
    with pytest.raises(PassOfAnotherPark, match="of the park larchmoor-north, not of larchmoor"):
        read(write_pass(OTHER, "larchmoor-north", DAY, CODE), keys=(KEY, sister))


def test_a_pass_signed_by_our_key_for_another_park_is_not_ours():
    """The park stands in what is signed, so a key in the wrong hands of the same operator gives no pass of this park."""
    with pytest.raises(PassNotGenuine):
        read(write_pass(PRIVATE, "larchmoor-north", DAY, CODE))


def test_a_pass_of_an_unknown_key_is_refused_and_says_to_fetch_the_keys():
    with pytest.raises(PassKeyUnknown, match="fetch the pass keys anew"):
        read(write_pass(OTHER, PARK, DAY, CODE))


def test_a_forger_who_writes_our_keys_id_over_his_own_is_refused():
    forged = bytearray(_bytes(write_pass(OTHER, PARK, DAY, CODE)))
    forged[1:5] = bytes.fromhex(KEY.id)
    with pytest.raises(PassNotGenuine, match="its signature does not hold"):
        read(_text(forged))


def test_an_old_key_verifies_the_passes_of_its_days_and_of_no_day_after():
    old = pass_key(PRIVATE, PARK, DAY - timedelta(days=30), DAY)
    assert read(TEXT, keys=(old,)) == CODE
    tomorrow = DAY + timedelta(days=1)
    with pytest.raises(PassNotGenuine, match="its key signs no passes of 2026-05-10"):
        read(write_pass(PRIVATE, PARK, tomorrow, CODE), day=tomorrow, keys=(old,))


def test_of_two_keys_that_share_an_id_the_one_that_signed_is_found():
    """Four bytes can meet by chance; what decides is the signature."""
    twin = pass_key(OTHER, PARK, DAY)
    twin = type(twin)(park=twin.park, id=KEY.id, public_key=twin.public_key, from_day=DAY, until_day=None)
    assert read(TEXT, keys=(twin, KEY)) == CODE


def test_a_signature_over_a_code_that_is_none_is_refused():
    with pytest.raises(PassNotGenuine, match="the code in it is none"):
        read(write_pass(PRIVATE, PARK, DAY, "no code\n"))


def test_a_fingerprint_is_the_sha_256_of_the_code():
    """FIPS 180-4's first example is of "abc": ba7816bf…15ad (from memory)."""
    assert fingerprint("abc") == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"


def test_each_way_to_refuse_a_pass_has_a_type_of_its_own_and_says_what_to_do():
    kinds = [kind for kind in every() if kind.__name__.startswith("Pass")]
    assert len({kind.type_uri() for kind in kinds}) == 6
    assert all(isinstance(kind("x"), Refused) and "Nobody is let in on it." in kind.remedy for kind in kinds)


def _bytes(text):
    """The bytes in a text, decoded by the definition of base32 and not by the library that wrote it."""
    alphabet = string.ascii_uppercase + "234567"
    bits = "".join(f"{alphabet.index(one):05b}" for one in text.removeprefix(PREFIX))
    return bytes(int(bits[at : at + 8], 2) for at in range(0, len(bits) - len(bits) % 8, 8))


def _text(whole):
    alphabet = string.ascii_uppercase + "234567"
    bits = "".join(f"{one:08b}" for one in whole)
    bits += "0" * (-len(bits) % 5)
    return PREFIX + "".join(alphabet[int(bits[at : at + 5], 2)] for at in range(0, len(bits), 5))
