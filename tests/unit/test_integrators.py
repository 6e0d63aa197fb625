"""Who reads along on the bus: the register, and the accounts that follow from it."""

import pytest

from deploy.commands.integrators import about, not_here
from deploy.integrators import NoSuchReading, accounts, added, changing, register, removed


def test_an_integrator_may_listen_to_what_it_reads_and_publish_nothing():
    found = {}
    added(found, "office", ("games", "checkpoints"), "larchmoor")
    made = accounts([{"user": "relay"}], found)
    (user,) = made["reader-office"]["users"]
    assert user["permissions"] == {
        "publish": {"deny": [">"]},
        "subscribe": {"allow": ["park.larchmoor.games.>", "checkpoint.larchmoor"]},
    }
    assert "jetstream" not in made["reader-office"]
    assert [one["stream"]["subject"] for one in made["reader-office"]["imports"]] == user["permissions"]["subscribe"][
        "allow"
    ]


@pytest.mark.parametrize(
    ("reads", "told"),
    [(("games",), ["leaf"]), (("checkpoints",), ["signed note"]), (("games", "checkpoints"), ["leaf", "signed note"])],
)
def test_each_is_told_what_comes_to_it_and_nothing_of_what_does_not(reads, told):
    said = " ".join(about(reads))
    assert [what for what in ("leaf", "signed note") if what in said] == told


def test_a_park_that_is_not_here_is_said_to_be_none(tmp_path):
    (tmp_path / "keys-larchmoor.json").touch()
    assert not_here(tmp_path, None) == not_here(tmp_path, "larchmoor") == ()
    (sentence,) = not_here(tmp_path, "larchmor")
    assert "no park larchmor here" in sentence
    assert "There are: larchmoor." in sentence


def test_the_park_gives_its_messages_to_the_registered_alone_and_to_nobody_where_there_are_none():
    found = {}
    assert accounts([], found) == {"PARK": {"jetstream": "enabled", "users": []}}
    added(found, "office", ("games",), None)
    assert {name for export in accounts([], found)["PARK"]["exports"] for name in export["accounts"]} == {
        "reader-office"
    }


def test_every_secret_is_another():
    found = {}
    secrets = {added(found, f"office-{number}", ("games",), None).secret for number in range(50)}
    assert len(secrets) == 50
    assert min(map(len, secrets)) >= 32


@pytest.mark.parametrize("name", ["Office", "2nd", "a b", "", "x" * 33, "office\n", "relay", "service", "taken"])
def test_a_name_that_does_not_fit_or_is_taken_is_refused(name):
    found = {}
    added(found, "taken", ("games",), None)
    with pytest.raises(NoSuchReading):
        added(found, name, ("games",), None)
    assert list(found) == ["taken"]


@pytest.mark.parametrize("reads", [(), ("game",), (">",), ("games.>",), ("games", "$JS.API")])
def test_only_what_the_park_publishes_can_be_read(reads):
    with pytest.raises(NoSuchReading, match="cannot be read"):
        added({}, "office", reads, None)


@pytest.mark.parametrize("park", ["*", ">", "a.b", "Larchmoor"])
def test_a_park_is_named_and_no_pattern(park):
    with pytest.raises(NoSuchReading, match="names no park"):
        added({}, "office", ("games",), park)


def test_the_register_outlives_the_process_in_a_file_of_its_owner_alone(tmp_path):
    with changing(tmp_path) as found:
        one = added(found, "office", ("games",), None)
    assert register(tmp_path) == {"office": one}
    assert (tmp_path / "integrators.json").stat().st_mode & 0o077 == 0
    with changing(tmp_path) as found:
        removed(found, "office")
    assert register(tmp_path) == {}


def test_a_change_that_is_refused_leaves_the_register_as_it_was(tmp_path):
    with changing(tmp_path) as found:
        added(found, "office", ("games",), None)
    with pytest.raises(NoSuchReading, match="no integrator tower"), changing(tmp_path) as found:
        removed(found, "tower")
    assert list(register(tmp_path)) == ["office"]
