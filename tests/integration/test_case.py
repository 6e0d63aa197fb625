"""Case files on real servers: the invented day's, one for each of its players, and those of a park that is up."""

import asyncio
import json
import re
import subprocess
import sys
from io import BytesIO

import pytest
import uvloop
from pypdf import PdfReader

from contracts.discipline import CautionRecorded, CautionResolved
from contracts.incidents import IncidentRecorded
from contracts.reasons import REASONS
from contracts.registration import PlayerRegistered
from deploy.commands import cases as commands
from services.audit.cases import archive
from services.audit.cases.case import STRANGER, case_file
from services.audit.cases.dossier import gather
from services.audit.cases.examination import examine
from services.audit.cases.shelf import LogShelf
from services.audit.stories.sources import story_of
from services.audit.stories.story import Span
from services.core.clock import SystemClock
from services.core.log import Log
from services.core.park import Park
from services.core.pool import Pool
from tests.unit.case_park import Levels, evidence_of

pytestmark = pytest.mark.timeout(600)
SECRET = re.compile(rb"(?<![\w-])(pass-\d{3}|[HL]\d{3}|K\d{3}|own-(?:mask-|bottle-)?\d+)(?![\w-])")
"""Passes, markers, masks and bottles as the invented day names them."""
ARMBAND = re.compile(rb'(?:"armband": ?|[Aa]rmband(?: number)? )(\d+)')
COLOURED = re.compile(rb'"player": ?"(p\d{3})",\s*"colour"')
REFUSED = re.compile(rb'"player": ?"(p\d{3})",\s*"reasons"')


class Desk:
    """Makes case files of the invented day, which is only read."""

    def __init__(self, demo_day, pool):
        self._day, self._pool = demo_day, pool
        self._park = Park(demo_day.park, Log(pool, demo_day.park, SystemClock()), SystemClock())
        self._levels = Levels(demo_day.rows)

    async def case(self, kind, subject):
        """The case and its file."""
        tell = lambda tag, after: story_of(self._park, tag, Span(after=after))  # noqa: E731
        found, stories = await gather(LogShelf(self._pool, self._day.park), tell, self._day.park, kind, subject)
        evidence = evidence_of(self._day.rows, found, nodes=self._levels)
        return found, archive.unpacked(case_file(found, stories, evidence))


@pytest.fixture(scope="module")
def players(demo_day):
    """Every player of the day with his case and its files."""
    return uvloop.run(_everybody(demo_day))


async def _everybody(demo_day):
    pool = Pool(demo_day.database.url)
    try:
        desk = Desk(demo_day, pool)
        names = [event.data.player for event in demo_day.events if isinstance(event.data, PlayerRegistered)]
        return {name: await desk.case("player", name) for name in names}
    finally:
        await pool.close()


async def _one(demo_day, kind, subject):
    pool = Pool(demo_day.database.url)
    try:
        return await Desk(demo_day, pool).case(kind, subject)
    finally:
        await pool.close()


def told(files):
    """All that a reader sees, but the report in print."""
    return {
        name: content
        for name, content in files.items()
        if name.startswith(("events/", "story", "report.html", "README"))
    }


def print_of(files):
    return "\n".join(page.extract_text() for page in PdfReader(BytesIO(files["report.pdf"])).pages).encode()


def test_of_the_other_players_of_the_day_nothing_but_an_id_leaves_the_park(players):
    assert len(players) == 240
    sentences = {entry.sentence.encode() for entry in REASONS.values()}
    for number, (name, (case, files)) in enumerate(players.items()):
        texts = told(files)
        if number % 20 == 0:
            texts["report.pdf"] = print_of(files)
        whole = b"\n".join(texts.values())
        own = {tag.partition(":")[2].encode() for tag in case.own.tags}
        own |= {event.data.day_pass.encode() for event in case.of(PlayerRegistered)}
        assert set(SECRET.findall(whole)) <= own, name
        assert {int(found) for found in ARMBAND.findall(whole)} <= set(case.own.armbands), name
        assert set(COLOURED.findall(whole)) <= {name.encode()}, name
        assert set(REFUSED.findall(whole)) <= {name.encode()}, name
        his = _reasons(json.loads(files["story.json"]))
        assert {one for one in sentences if one in texts["report.html"].replace(b"&#x27;", b"'")} <= his, name


def _reasons(stories):
    """The reasons that his own decisions were told with."""
    return {
        reason["sentence"].partition(". ")[0].rstrip(".").encode() + b"."
        for story in stories["stories"]
        for event in story["events"]
        for reason in (event["decision"] or {"reasons": ()})["reasons"]
    }


def test_every_event_of_a_player_is_in_his_file_as_a_leaf_or_as_a_proven_hash(demo_day, players):
    for name, (_, files) in players.items():
        his = {event.position for event in demo_day.events if f"player:{name}" in event.tags}
        proven = {event["position"] for event in json.loads(files["proofs.json"])["events"]}
        assert his <= proven, name
        assert {event["position"] for event in json.loads(files["story.json"])["stories"][0]["events"]} <= proven


def test_the_timeline_begins_with_the_papers_that_were_recorded_before_he_came(players):
    for _, files in players.values():
        (own, *_) = json.loads(files["story.json"])["stories"]
        types = [event["type"] for event in own["events"]]
        assert types.index("registration.waiver_signed") < types.index("registration.player_registered")
        assert "signed the waiver in wording" in files["report.html"].decode()


def test_the_ejected_players_file_tells_why_and_what_followed(demo_day, players):
    overshot = next(
        event.data.player for event in demo_day.events if getattr(event.data, "violation", "") == "overshooting"
    )
    page = players[overshot][1]["report.html"].decode()
    assert "Entry is forfeited by an ejection." in page
    assert "two games" not in page
    assert re.search(r"eject", page)


def test_a_caution_by_colour_and_number_is_in_the_file_of_whom_it_proved_to_be_about(demo_day, players):
    resolved = next(event for event in demo_day.events if isinstance(event.data, CautionResolved))
    recorded = next(
        event for event in demo_day.events
        if isinstance(event.data, CautionRecorded) and event.data.caution == resolved.data.caution
    )  # fmt: skip
    assert recorded.data.player is None
    assert f"events/{recorded.position}.leaf" in players[resolved.data.player][1]


def test_the_injury_of_the_day_is_gathered_for_insurers_and_lawyers(demo_day):
    incident = next(event for event in demo_day.events if isinstance(event.data, IncidentRecorded))
    case, files = asyncio.run(_one(demo_day, "incident", incident.data.incident))
    assert case.players == incident.data.players
    rows = dict(re.findall(r"<tr><td>([^<]*)</td><td>([^<]*)</td>", files["report.html"].decode()))
    for asked in (
        "Age band",
        "Waiver",
        "Mask",
        "Marker",
        "Field inspection",
        "First aiders on duty",
        "Players for each referee",
    ):
        assert rows[asked] != "not recorded", asked
    assert rows["Emergency services"] == "recorded as not called"
    for asked in ("Paint batch", "Time the ambulance was called, and came", "Notifications to insurer and authorities"):
        assert rows[asked] == "not recorded", asked
    assert rows["Injury"].startswith("left ankle: sprain")
    assert rows["Treatment given, by whom, when"].startswith("cooled, by aid-2")
    assert rows["How it ended, as far as is known"].startswith("rested")
    assert rows["Named witnesses"] == "ref-05"
    for piece in (*incident.data.markers, *incident.data.masks):
        (custody,) = [found for asked, found in rows.items() if asked == f"Custody of {_kind(piece, incident)} {piece}"]
        assert "taken in to aid-2, kept: first aid room" in custody
        assert "aid-2 to head-1, kept: safe" in custody
        assert "[" not in custody
    assert rows["Referees on the field"].count("qualified until") == 4
    assert "checklist" in print_of(files).decode()


def _kind(piece, incident):
    return "marker" if piece in incident.data.markers else "mask"


def test_a_markers_file_names_who_held_it_and_no_more_of_them(demo_day, players):
    name, (case, _) = next(iter(players.items()))
    marker = next(tag.partition(":")[2] for tag in case.own.tags if tag.startswith("marker:"))
    _, files = asyncio.run(_one(demo_day, "marker", marker))
    whole = b"\n".join(told(files).values())
    assert name.encode() in whole
    assert set(SECRET.findall(whole)) == {marker.encode()}
    assert not ARMBAND.findall(whole)


def _player(live):
    for command, body in (
        ("registration/register-person", {"person": "person-ash", "age_band": 18}),
        (
            "registration/register-player",
            {"player": "player-ash", "person": "person-ash", "day_pass": "LM-0417", "armband": 417},
        ),
    ):  # fmt: skip
        assert live.post(command, body).status_code == 201


@pytest.fixture(scope="module")
def file_of_ash(live):
    _player(live)
    answer = live.get(f"/parks/{live.park}/audit/cases/player/player-ash", role="auditor")
    assert answer.status_code == 200
    return answer


def test_an_auditor_downloads_a_case_and_anybody_verifies_it(live, file_of_ash, tmp_path):
    assert file_of_ash.headers["content-type"] == "application/zip"
    assert f'filename="case-{live.park}-player-player-ash.zip"' in file_of_ash.headers["content-disposition"]
    path = tmp_path / "case.zip"
    path.write_bytes(file_of_ash.content)
    good = subprocess.run(
        [sys.executable, "-m", "deploy.main", "verify", str(path)], capture_output=True, text=True, check=False
    )
    assert good.returncode == 0, good.stderr
    assert "Verified: " in good.stdout
    alone = subprocess.run(
        [sys.executable, "-I", "-S", str(STRANGER / "verify.py"), str(path)],
        capture_output=True,
        text=True,
        check=False,
    )
    assert alone.returncode == 0, alone.stderr
    path.write_bytes(file_of_ash.content.replace(b'"armband":417', b'"armband":418'))
    bad = subprocess.run(
        [sys.executable, "-m", "deploy.main", "verify", str(path)], capture_output=True, text=True, check=False
    )
    assert bad.returncode == 1
    assert re.search(r"events/\d+\.leaf", bad.stderr)


def test_a_case_is_for_managers_and_auditors_and_of_somebody_whom_the_record_knows(live, file_of_ash):
    assert live.get(f"/parks/{live.park}/audit/cases/player/player-ash", role="desk").status_code == 403
    unknown = live.get(f"/parks/{live.park}/audit/cases/player/nobody", role="manager")
    assert unknown.status_code == 404
    assert "knows no player nobody" in unknown.json()["detail"]
    assert live.get(f"/parks/{live.park}/audit/cases/dragon/smaug", role="manager").status_code == 400
    assert file_of_ash.status_code == 200


def test_after_the_key_was_changed_whoever_knows_the_old_one_can_still_verify(live, file_of_ash):
    before = archive.unpacked(file_of_ash.content)["keys.txt"].decode().split()
    assert live.http.post(f"/parks/{live.park}/evidence/keys", headers=live.headers("manager")).status_code == 200
    after = live.get(f"/parks/{live.park}/audit/cases/player/player-ash").content
    files = archive.unpacked(after)
    assert files["keys.txt"].decode().split()[:-1] == before
    assert "rotations/1.json" in files
    assert examine(after, before[0]).wrong == ()


def test_the_terminal_makes_the_same_case_as_the_server(live, file_of_ash):
    assert file_of_ash.status_code == 200
    served = live.get(f"/parks/{live.park}/audit/cases/player/player-ash").content
    outside = live.running.app.state.outside
    park, made = uvloop.run(commands._made(live.running.pool.url, outside, live.park, "player", "player-ash"))
    assert park == live.park
    assert made == served


def test_the_parks_rules_are_a_case_of_their_own(live):
    rules = {"rules": {"version": "larchmoor-2026", "time_zone": "Europe/London"}}
    assert live.post("park/adopt-rules", rules).status_code == 201
    answer = live.get(f"/parks/{live.park}/audit/cases/rules/{live.park}")
    assert answer.status_code == 200
    assert examine(answer.content).wrong == ()
