"""The park's pass keys: made once, kept outside the database, renewed without losing the passes of the day."""

from datetime import date, timedelta

import pytest

from contracts.passes import read_pass
from contracts.problems import InvalidParameter, PassKeyUnknown, PassNotGenuine, PassOfAnotherPark, Unavailable
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


def renewed(ring, request, *, until=DAY):
    fresh = ring.prepare(request)
    ring.take(fresh.id, DAY, until)
    return fresh


def test_a_renewed_key_signs_at_once_and_the_old_one_verifies_the_passes_of_its_days_only(ring):
    old = ring.text("LX-1", DAY)
    renewed(ring, "one")
    new = ring.text("LX-2", DAY)
    assert [read_pass(text, PARK, DAY, ring.public()) for text in (old, new)] == ["LX-1", "LX-2"]
    assert [key.until_day for key in ring.public()] == [DAY, None]


def test_of_a_stolen_key_no_pass_of_today_holds(ring):
    old = ring.text("LX-1", DAY)
    renewed(ring, "one", until=DAY - timedelta(days=1))
    with pytest.raises(PassNotGenuine, match="its key signs no passes of"):
        read_pass(old, PARK, DAY, ring.public())


def test_a_key_that_the_log_was_not_told_of_signs_nothing_and_is_handed_to_nobody(ring):
    before = ring.public()
    fresh = ring.prepare("one")
    assert ring.public() == before
    assert fresh.id not in {key.id for key in ring.public()}


def test_the_same_request_again_makes_no_second_key_wherever_it_was_broken_off(tmp_path, ring):
    fresh = ring.prepare("one")
    again = Keyring(tmp_path, PARK)
    assert again.prepare("one").id == fresh.id
    again.take(fresh.id, DAY, DAY)
    again.take(fresh.id, NEXT, NEXT)
    assert [(key.from_day, key.until_day) for key in ring.public()][-1] == (DAY, None)
    assert len(ring.public()) == 2


def test_a_device_that_has_not_heard_of_the_new_key_is_told_to_fetch_the_keys(ring):
    heard = ring.public()
    renewed(ring, "one")
    with pytest.raises(PassKeyUnknown, match="fetch the pass keys anew"):
        read_pass(ring.text("LX-1", DAY), PARK, DAY, heard)
