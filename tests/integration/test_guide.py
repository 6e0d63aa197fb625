"""The guide's programs, as they stand in the guide: a kiosk that answers at the gate and keeps what happens while the network is away, and a back office that follows the park or is called by it."""

import re
import sqlite3
import subprocess
import sys
import time
from contextlib import contextmanager, suppress
from pathlib import Path

import httpx
import msgspec
import pytest

import contracts.client
from contracts import leaf
from contracts.client.keys import DeviceKey
from contracts.games import PlayerOut
from deploy.processes import usable_port

GUIDE = Path(contracts.client.__file__).with_name("GUIDE.md").read_text()
ROOT = Path(__file__).resolve().parents[2]
KIOSK, OFFICE, LETTERS = re.findall(r"```python\n(.*?)```", GUIDE, re.DOTALL)

pytestmark = pytest.mark.timeout(180)


@pytest.fixture
def kiosk(tmp_path):
    (tmp_path / "kiosk.py").write_text(KIOSK)

    def run(*arguments, typed):
        """Starts it as the guide says, types these lines, and returns what it showed."""
        command = [sys.executable, "kiosk.py", *arguments]
        done = subprocess.run(
            command,
            cwd=tmp_path,
            env={"PYTHONPATH": str(ROOT)},
            input=typed,
            capture_output=True,
            text=True,
            timeout=90,
            check=True,
        )
        return done.stdout

    run.folder = tmp_path
    return run


@pytest.mark.parametrize(("program", "most"), [(KIOSK, 30), (OFFICE, 22), (LETTERS, 22)])
def test_it_has_as_few_lines_as_the_guide_says(program, most):
    assert len([line for line in program.splitlines() if line.strip()]) <= most


def test_the_kiosk_of_the_guide_runs_as_it_is_written(live, kiosk):
    live.post("games/configure-field", {"field": "birch", "title": "Birch"}).raise_for_status()
    live.post("registration/register-person", {"person": "ada", "age_band": 18}).raise_for_status()
    player = {"player": "ada-sat", "person": "ada", "day_pass": "LX-991", "armband": 991}
    live.post("registration/register-player", player).raise_for_status()
    invitation = {"device": "gate-birch", "roles": ["staging", "referee"], "station": "birch-gate"}
    code = live.post("devices/invite-device", invitation, role="manager").json()["secret"]
    arguments = live.url, live.park, code, "birch"

    shown = kiosk(*arguments, typed="991\nLX-991\n992\n")
    by_armband, by_pass, unknown = re.split(r"(?<=\n)(?=NOT CLEARED)", shown)
    assert by_armband == by_pass
    assert by_armband.startswith("NOT CLEARED\n  ")
    assert "Your entry is not paid. (desk)" in by_armband
    assert unknown.startswith("NOT CLEARED: ")

    told = kiosk(*arguments, typed="out nobody-1\n")
    assert (
        told
        == "NOT RECORDED, tell the desk: The record knows no player nobody-1. Check the spelling, or register it first.\n"
    )
    assert kiosk(*arguments, typed="\n").count("NOT RECORDED") == 0
    waiting = live.get(f"/parks/{live.park}/devices/set-aside?device=gate-birch", "manager").json()["lines"]
    assert [line["seq"] for line in waiting] == [1]

    cable_pulled(kiosk.folder, f"http://127.0.0.1:{usable_port(None)}")
    shown = kiosk(*arguments, typed="991\nout ada-sat\n")
    assert shown.count("NOT CLEARED: The park's server cannot be reached.") == 2
    assert shown.endswith("Kept on this device: 1.\n")
    before = live.head()

    cable_pulled(kiosk.folder, live.url)
    assert "Kept on this device" not in kiosk(*arguments, typed="991\n")
    assert live.head() == before + 1
    event = leaf.decode(live.leaf(before + 1))
    assert event.data == PlayerOut(player="ada-sat", field="birch", game=None, cause="walked_off")
    assert (event.device, event.device_seq) == ("gate-birch", 2)
    assert event.occurred_at < event.recorded_at


def cable_pulled(folder, url):
    """From now on the kiosk's park is at this address, where nobody may answer."""
    path = folder / "kiosk.key"
    key = msgspec.json.decode(path.read_bytes(), type=DeviceKey)
    path.write_bytes(msgspec.json.encode(msgspec.structs.replace(key, url=url)))


@contextmanager
def at_work(folder, program, *arguments):
    """A program of the guide in a process of its own, killed at the end; yields how to read the lines that it has printed so far."""
    (folder / "program.py").write_text(program)
    printed = folder / "printed"
    with printed.open("a") as out:
        process = subprocess.Popen(
            [sys.executable, "program.py", *arguments],
            cwd=folder,
            env={"PYTHONPATH": str(ROOT)},
            stdout=out,
            stderr=subprocess.STDOUT,
        )
    try:
        yield lambda: printed.read_text().splitlines()
    finally:
        process.kill()
        process.wait()


def until(found, wanted):
    deadline = time.monotonic() + 60
    while (seen := found()) != wanted:
        assert time.monotonic() < deadline, f"{seen} instead of {wanted}"
        time.sleep(0.05)


def configured(live, field):
    """A games event, and between this one and the next another that no reader of games hears; its position."""
    answer = live.post("games/configure-field", {"field": field, "title": field.title()})
    live.post("registration/register-person", {"person": f"beside-{field}", "age_band": 18}).raise_for_status()
    return answer.json()["position"]


def test_the_back_office_of_the_guide_has_each_event_once_though_it_is_killed(live, tmp_path):
    before = live.get(f"/parks/{live.park}/events?type=games.*", "auditor").text.count('"type":')
    first = configured(live, "larch")
    code = live.post("devices/invite-device", {"device": "office", "roles": ["integrator"]}, role="manager").json()
    arguments = live.url, live.park, code["secret"]

    def heard():
        with suppress(sqlite3.OperationalError), sqlite3.connect(tmp_path / "office.db", timeout=30) as books:
            found = books.execute("SELECT position, json_extract(data, '$.field') FROM heard ORDER BY position")
            return found.fetchall()[before:]

    with at_work(tmp_path, OFFICE, *arguments) as printed:
        until(heard, [(first, "larch")])
        second = configured(live, "yew")
        until(heard, [(first, "larch"), (second, "yew")])
    third = configured(live, "rowan")
    with at_work(tmp_path, OFFICE, *arguments):
        until(heard, [(first, "larch"), (second, "yew"), (third, "rowan")])
    assert printed() == []


def test_the_letters_of_the_guide_are_taken_and_a_forged_one_is_not(live, tmp_path):
    port = usable_port(None)
    address = f"http://127.0.0.1:{port}"
    made = {"webhook": "guide", "url": f"{address}/hooks/park", "types": ["games.*"]}
    secret = live.post("reading/open-webhook", made, role="manager").json()["secret"]
    with at_work(tmp_path, LETTERS, str(port), secret) as printed:
        position = configured(live, "holly")
        until(
            lambda: [line.split()[:2] for line in printed() if not line.startswith("127")],
            [[str(position), "games.field_configured"]],
        )
        forged = {"webhook-id": "a", "webhook-timestamp": str(int(time.time())), "webhook-signature": "v1,AAAA"}
        assert httpx.post(f"{address}/hooks/park", content=b"[]", headers=forged).status_code == 400
        assert any(line.startswith("REFUSED: No signature of the letter holds") for line in printed())
    live.post("reading/close-webhook", {"webhook": "guide"}, role="manager").raise_for_status()
