"""The guide's kiosk, as it stands in the guide: enrolled by a manager's code, it answers at the gate, and keeps what happens while the network is away."""

import re
import subprocess
import sys
from pathlib import Path

import msgspec
import pytest

import contracts.client
from contracts import leaf
from contracts.client.keys import DeviceKey
from contracts.games import PlayerOut
from deploy.processes import usable_port

GUIDE = Path(contracts.client.__file__).with_name("GUIDE.md").read_text()
ROOT = Path(__file__).resolve().parents[2]
(PROGRAM,) = re.findall(r"```python\n(.*?)```", GUIDE, re.DOTALL)

pytestmark = pytest.mark.timeout(180)


@pytest.fixture
def kiosk(tmp_path):
    (tmp_path / "kiosk.py").write_text(PROGRAM)

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


def test_it_has_thirty_lines_at_most():
    assert len([line for line in PROGRAM.splitlines() if line.strip()]) <= 30


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
