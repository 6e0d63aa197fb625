"""The park's pass keys: made once, kept outside the database, renewed without losing the passes of the day."""

from datetime import date, timedelta

import pytest

from contracts.passes import read_pass
from contracts.problems import InvalidParameter, PassOfAnotherPark, Unavailable
from services.registration.passes.keyring import Keyring, code_shown

PARK, DAY = "larchmoor", date(2026, 5, 9)
NEXT = DAY + timedelta(days=1)


@pytest.fixture
def ring(tmp_path):
    return Keyring(tmp_path, PARK)


def test_the_first_key_is_made_once_and_found_again_by_another_process(tmp_path, ring):
    text = ring.text("LX-1", DAY)
    assert Keyring(tmp_path, PARK).public() == ring.public()
    assert read_pass(text, PARK, DAY, Keyring(tmp_path, PARK).public()) == "LX-1"


def test_parks_have_keys_of_their_own(tmp_path, ring):
    rings = {PARK: ring, "larchmoor-north": Keyring(tmp_path, "larchmoor-north")}
    with pytest.raises(PassOfAnotherPark):
        code_shown(rings, PARK, rings["larchmoor-north"].text("LX-1", DAY), DAY)


def test_a_bare_code_is_taken_as_it_is_and_nothing_else_that_is_short(ring):
    assert code_shown({PARK: ring}, PARK, "LX-1", DAY) == "LX-1"
    with pytest.raises(InvalidParameter):
        code_shown({PARK: ring}, PARK, "no code", DAY)


@pytest.mark.parametrize("written", [b"", b"{}", b'[{"seed": "AAAA", "from_day": "2026-05-09"}]'])
def test_a_file_that_is_none_of_ours_says_so_and_is_never_written_over(tmp_path, ring, written):
    file = tmp_path / f"pass-keys-{PARK}.json"
    file.write_bytes(written)
    with pytest.raises(Unavailable, match=r"pass-keys-larchmoor\.json holds what is not ours"):
        ring.text("LX-1", DAY)
    assert file.read_bytes() == written
