"""What the vault keeps outside the database: a key that is made once, and a ledger that forgets nothing."""

import threading
from datetime import UTC, datetime
from uuid import UUID

import pytest

from contracts.problems import Unavailable
from services.vault.outside import Outside, VaultClosed
from services.vault.states import Erasure

AT = datetime(2029, 5, 10, 9, 30, 15, 250000, UTC)


def gone(person, number=1):
    return Erasure(person, UUID(int=number), AT)


@pytest.fixture
def outside(tmp_path):
    return Outside(tmp_path, "larchmoor")


def test_the_master_key_is_made_once_and_only_this_account_can_read_it(outside):
    assert outside.master_key() is None
    outside.make_master_key()
    wrapped = outside.master_key().new("larchmoor", "ash")
    written = outside.master.read_bytes()
    outside.make_master_key()
    assert outside.master.read_bytes() == written
    assert outside.master.stat().st_mode & 0o777 == 0o600
    assert outside.master_key().unwrap("larchmoor", "ash", wrapped)
    assert [path.name for path in outside.master.parent.iterdir()] == ["vault-larchmoor.key"]


def test_of_several_that_make_the_key_at_once_all_use_the_same(outside):
    made, together = [], threading.Barrier(6)

    def make():
        together.wait()
        outside.make_master_key()
        made.append(outside.master_key())

    threads = [threading.Thread(target=make) for _ in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    wrapped = made[0].new("larchmoor", "ash")
    assert len({repr(key.unwrap("larchmoor", "ash", wrapped).digest_of_request(b"x")) for key in made}) == 1


@pytest.mark.parametrize("content", ["", "no key", "ab" * 31, "ab" * 33, "zz" * 32])
def test_a_file_that_holds_no_key_closes_the_vault_and_is_left_as_it_is(outside, content):
    outside.master.write_text(content)
    with pytest.raises(VaultClosed, match=r"vault-larchmoor\.key holds no key"):
        outside.master_key()
    assert outside.master.read_text() == content


def test_a_closed_vault_is_a_documented_problem():
    closed = VaultClosed("it is shut.")
    assert (closed.status, closed.type_uri()) == (503, Unavailable.type_uri())
    assert closed.detail == "The vault is closed: it is shut."


def test_a_folder_that_cannot_be_used_closes_the_vault_and_is_named(tmp_path):
    away = Outside(tmp_path / "away", "larchmoor")
    for ask in (away.make_master_key, lambda: away.record([gone("ash")])):
        with pytest.raises(VaultClosed, match=r"away/\S+ cannot be used \(No such file or directory\)"):
            ask()


def test_the_ledger_gives_back_what_was_added(outside):
    assert outside.erasures() == {}
    outside.record([gone("ash", 1), gone("elm", 2)])
    outside.record([])
    outside.record([gone("oak", 3)])
    assert outside.erasures() == {"ash": gone("ash", 1), "elm": gone("elm", 2), "oak": gone("oak", 3)}
    assert outside.ledger.read_text().splitlines()[0] == (
        "2029-05-10T09:30:15.250000+00:00 ash 00000000-0000-0000-0000-000000000001"
    )
    assert outside.ledger.stat().st_mode & 0o777 == 0o600


def test_a_line_that_was_broken_off_is_none_and_gives_way_to_the_next(outside):
    outside.record([gone("ash")])
    whole = outside.ledger.read_bytes()
    for cut in range(1, len(whole)):
        outside.ledger.write_bytes(whole + whole[:-cut].replace(b"ash", b"elm"))
        assert outside.erasures() == {"ash": gone("ash")}
        outside.record([gone("oak", 3)])
        assert outside.erasures() == {"ash": gone("ash"), "oak": gone("oak", 3)}


@pytest.mark.parametrize("line", ["ash", "2029-05-10T09:30:15+00:00 ash", "yesterday ash 7", "\udcff a b"])
def test_a_whole_line_that_is_no_erasure_closes_the_vault_and_is_named(outside, line):
    outside.record([gone("ash")])
    with outside.ledger.open("ab") as ledger:
        ledger.write(line.encode(errors="surrogateescape") + b"\n")
    with pytest.raises(VaultClosed, match=r"Line 2 of erasures-larchmoor\.txt is no erasure"):
        outside.erasures()
