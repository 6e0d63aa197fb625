"""`deploy/run` on a state folder of its own: it serves, outlives a stop and a kill -9, and says in one sentence why it cannot start."""

import signal
import time
from uuid import uuid4

import httpx
import pytest

from tests.integration.launcher import Launcher
from tests.servers import temporary_state

pytestmark = pytest.mark.timeout(300)

BLANK, DEMO = "fernmoor", "larchmoor"


@pytest.fixture(scope="module")
def folder():
    """A checkout in somebody's home, none of whose folders is the servers' own."""
    with temporary_state() as top:
        folder = top / "home" / "checkout"
        folder.mkdir(parents=True)
        (top / "home").chmod(0o751)
        folder.chmod(0o755)
        yield folder


@pytest.fixture(scope="module")
def blank(folder):
    """A blank park that is up. Whoever stops it starts it again."""
    before = modes(folder)
    launcher = Launcher(folder / ".state", "--park", BLANK).start()
    try:
        yield launcher
    finally:
        launcher.end()
    assert modes(folder) == before


def modes(folder):
    return {step: step.stat().st_mode for step in (folder, *folder.parents)}


def test_a_blank_park_is_served_and_its_address_and_keys_are_said(blank):
    blank.until_said("Stop with Ctrl-C")
    board = f"{blank.url}/parks/{BLANK}/board"
    assert f"The board: {board}" in blank.said
    assert f"Device keys: {blank.state}/keys-{BLANK}.json" in blank.said
    assert httpx.get(board).headers["content-type"].startswith("text/html")
    assert httpx.get(f"{blank.url}/health").json() == {"status": "alive"}
    assert (blank.state / f"keys-{BLANK}.json").stat().st_mode & 0o077 == 0


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT, signal.SIGKILL])
def test_what_was_recorded_outlives_a_stop_and_a_kill(blank, number):
    key, person = str(uuid4()), {"person": f"person-{number}", "age_band": 18}
    first = blank.send(BLANK, "office", "registration/register-person", person, key)
    assert first.status_code == 201, first.text
    position = blank.position(BLANK)
    assert blank.end(number) == (-signal.SIGKILL if number == signal.SIGKILL else 0)
    blank.start()
    assert blank.position(BLANK) == position
    again = blank.send(BLANK, "office", "registration/register-person", person, key)
    assert again.json() == first.json() | {"repeat": True}


def refusal(launcher):
    """The one sentence with which a launcher gave up."""
    assert launcher.status() not in {0, None}
    assert "Traceback" not in launcher.said
    (sentence,) = launcher.sentences
    return sentence


def test_a_taken_port_is_one_clear_sentence_and_nothing_is_started(blank, folder):
    other = Launcher(folder / "other", "--empty", port=blank.port)
    other.launch()
    assert refusal(other).startswith(f"fieldledger: Port {blank.port} on 127.0.0.1 cannot be used")
    assert not other.state.exists()


def test_of_two_that_start_at_once_on_one_port_the_second_is_told(folder):
    one = Launcher(folder / "one", "--empty")
    other = Launcher(folder / "two", "--empty", port=one.port)
    one.launch()
    other.launch()
    deadline = time.monotonic() + 60
    while all(launcher._process.poll() is None for launcher in (one, other)):
        assert time.monotonic() < deadline
        time.sleep(0.05)
    told, serving = (one, other) if one._process.poll() is not None else (other, one)
    assert refusal(told).startswith(f"fieldledger: Port {one.port} on 127.0.0.1 cannot be used")
    serving.until_said("Stop with Ctrl-C")
    assert serving.end() == 0


def test_a_second_launcher_on_the_same_state_is_told_who_uses_it(blank):
    second = Launcher(blank.state, "--empty")
    second.launch()
    sentence = refusal(second)
    assert sentence.startswith(f"fieldledger: The state folder {blank.state} is in use by process ")
    assert sentence.endswith("Stop that one first, or name another folder in FIELDLEDGER_STATE.")
    assert httpx.get(f"{blank.url}/ready").status_code == 200


def test_a_port_that_is_no_number_is_one_clear_sentence(folder):
    other = Launcher(folder / "other", "--empty", port="http")
    other.launch()
    assert refusal(other).startswith("fieldledger: The environment does not make sense: ")


@pytest.mark.parametrize("until", ["noon", "25:00", "08:10"])
def test_a_day_that_is_to_be_played_until_no_time_of_it_is_one_clear_sentence(folder, until):
    other = Launcher(folder / "other", "--until", until)
    other.launch()
    assert refusal(other).startswith(f"fieldledger: --until {until} is ")
    assert not other.state.exists()


@pytest.mark.parametrize("park", ["Fernmoor", "fern moor", "fern/moor", "f" * 33])
def test_what_is_no_name_of_a_park_is_one_clear_sentence(folder, park):
    other = Launcher(folder / "other", "--park", park)
    other.launch()
    assert refusal(other).startswith(f"fieldledger: --park {park} is no name of a park. ")
    assert not other.state.exists()


def test_a_day_that_is_played_until_half_past_ten_stands_there_with_games_live_and_goes_on_by_itself(folder):
    launcher = Launcher(folder / "morning", "--until", "10:30").start()
    try:
        launcher.until_said("Stop with Ctrl-C")
        board = httpx.get(f"{launcher.url}/parks/{DEMO}/board.json").json()
        assert board["as_of"][11:16] in {"10:30", "10:31"}
        assert "live" in {field["state"] for field in board["fields"].values()}
        assert board["players"]["gone_home"] == 0
        deadline = time.monotonic() + 10
        while httpx.get(f"{launcher.url}/parks/{DEMO}/board.json").json()["as_of"] == board["as_of"]:
            assert time.monotonic() < deadline, "its clock stands"
            time.sleep(0.2)
    finally:
        assert launcher.end() == 0


def test_a_day_that_is_killed_half_way_goes_on_from_its_record(folder):
    launcher = Launcher(folder / "day").start()
    try:
        while launcher.position(DEMO) < 300:
            time.sleep(0.1)
        seen = launcher.position(DEMO)
        launcher.end(signal.SIGKILL)
        launcher.start()
        launcher.until_said("Stop with Ctrl-C")
        kept = launcher.position(DEMO)
        assert kept >= seen
        assert f"{DEMO} goes on: {kept} events are on record." in launcher.sentences
        body = {"cause": "other", "hold": "after-the-kill"}
        assert launcher.send(DEMO, "office", "games/ask-hold", body, str(uuid4())).status_code == 201
        assert launcher.position(DEMO) == kept + 1
    finally:
        status = launcher.end()
    assert status == 0
