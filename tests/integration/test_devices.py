"""Devices over HTTP: invited, enrolled, revoked; every way a code or key can be wrong; what the record and the logs tell of it, and what not."""

import json
import time
from datetime import UTC, datetime, timedelta
from uuid import uuid4

import anyio
import httpx
import psycopg
import pytest

from contracts.problems import KeyRevoked
from services.core.auth import Devices
from services.core.clock import SetClock, SystemClock
from services.core.pool import Pool
from tests.browser.server import Server
from tests.integration.live import serving
from tests.integration.receiver import receiving

MOST_SECONDS = 1.0
"""Within which a revocation holds in every process."""


@pytest.fixture
def park(databases, nats_urls):
    """A park of its own for each test: tries are counted per process."""
    database = databases.create()
    with serving(database, nats_urls) as live:
        yield live
    databases.drop(database)


def refused(response, status, name):
    problem = response.json()
    assert (response.status_code, problem["type"]) == (status, f"/problems/{name}"), response.text
    return problem


def invite(park, device="gate-7", roles=("staging",), **more):
    answer = park.post("devices/invite-device", {"device": device, "roles": list(roles), **more})
    assert answer.status_code == 201, answer.text
    return answer.json()["secret"]


def take(park, code, key=None, **more):
    headers = {"Idempotency-Key": f'"{key or uuid4()}"'}
    return park.http.post(f"/parks/{park.park}/devices/enrol", json={"code": code, **more}, headers=headers)


def enrolled(park, device="gate-7", roles=("staging",)):
    answer = take(park, invite(park, device, roles))
    assert answer.status_code == 201, answer.text
    return answer.json()["key"]


def asks(park, key, **headers):
    """A read that staging may ask for."""
    where = f"/parks/{park.park}/registration/players?armband=1"
    return park.http.get(where, headers={"Authorization": f"Bearer {key}", **headers})


def works(park, key):
    return asks(park, key).status_code == 404  # nobody wears that armband


def listed(park, device):
    devices = park.get(f"/parks/{park.park}/devices", "manager").json()["devices"]
    return next(one for one in devices if one["device"] == device)


def test_a_device_is_invited_and_takes_a_key_of_its_own_that_opens_what_it_is_for(park):
    code = invite(park, station="gate-north", minutes=20)
    answer = take(park, code.lower().replace("-", " "), version="2026.5").json()
    assert (answer["device"], answer["roles"], answer["station"]) == ("gate-7", ["staging"], "gate-north")
    assert answer["position"] == park.head()
    assert works(park, answer["key"])
    refused(
        park.http.get(f"/parks/{park.park}/devices", headers={"Authorization": f"Bearer {answer['key']}"}),
        403,
        "not-allowed",
    )
    told = json.loads(park.leaf(park.head()).split(b"\n", 5)[5])
    assert (told["type"], told["device"], told["tags"]) == ("devices.device_enrolled", "gate-7", ["device:gate-7"])


def test_neither_code_nor_key_is_in_the_record_or_in_clear_anywhere_in_the_database(park, capfd):
    code = invite(park)
    key = take(park, code).json()["key"]
    wrong = f"{key}x"
    problems = asks(park, wrong).text + take(park, code).text + take(park, "0000000000").text
    assert works(park, key)
    leaves = b"".join(park.leaf(position) for position in range(1, park.head() + 1)).decode()
    secret = key.rpartition(".")[2]

    async def everything():
        async with park.running.pool.connection() as connection:
            return [
                str(row)
                for table in ("device", "invitation", "request")
                for row in await connection.fetch(f"SELECT * FROM log.{table}")  # noqa: S608
            ]

    rows = "".join(park.portal.call(everything))
    written = "".join(capfd.readouterr())
    for word in (code, code.replace("-", ""), secret, wrong.rpartition(".")[2]):
        assert word not in leaves + rows + problems + written


def test_a_code_enrols_once_and_a_lost_answer_is_mended_by_a_new_invitation(park):
    code, request = invite(park), uuid4()
    lost = take(park, code, request).json()["key"]
    assert "ask a manager to invite" in refused(take(park, code, request), 409, "code-used")["detail"]
    refused(take(park, code), 409, "code-used")
    anew = enrolled(park)
    assert works(park, anew)
    refused(asks(park, lost), 401, "not-authenticated")


def test_a_repeated_invitation_has_no_code_any_more(park):
    headers = park.headers("manager")
    body = json.dumps({"device": "gate-7", "roles": ["staging"]}).encode()
    first, again = (park.send("devices/invite-device", body, headers).json() for _ in range(2))
    assert len(first["secret"]) == 11
    assert (again["repeat"], again.get("secret")) == (True, None)
    assert take(park, first["secret"]).status_code == 201


def test_every_way_a_code_can_be_wrong_has_its_problem(park):
    refused(take(park, "K7QF3-M2W9T"), 422, "code-not-known")
    short = refused(take(park, "short"), 422, "invalid-body")
    assert (short["where"], "ten letters and digits" in short["detail"]) == ("$.code", True)
    old = invite(park)
    new = invite(park)
    refused(take(park, old), 409, "code-replaced")
    park.post("devices/revoke-device", {"device": "gate-7", "cause": "stolen"}, "head_referee")
    refused(take(park, new), 409, "code-replaced")
    missing = park.http.post(f"/parks/{park.park}/devices/enrol", json={"code": new})
    refused(missing, 400, "idempotency-key-missing")
    elsewhere = park.http.post(
        "/parks/nowhere/devices/enrol", json={"code": new}, headers={"Idempotency-Key": f'"{uuid4()}"'}
    )
    refused(elsewhere, 404, "not-found")


def test_an_expired_code_enrols_nothing(databases, nats_urls):
    database = databases.create()
    clock = Moving()
    with serving(database, nats_urls, clock) as park:
        code = invite(park, minutes=1)
        clock.ahead = 61
        assert "Ask a manager" in refused(take(park, code), 422, "code-expired")["detail"]
    databases.drop(database)


def test_what_is_listed_of_devices_and_of_dead_letters_bears_the_time_by_the_parks_clock(databases, nats_urls):
    """A played day has a time of its own: the wall's would stand beside the record's and contradict it."""
    database = databases.create()
    clock = SetClock(datetime(2026, 5, 9, 8, 0, tzinfo=UTC))
    with serving(database, nats_urls, clock) as park, receiving() as receiver:
        receiver.rule = lambda *_: 410
        opened = {"webhook": "office", "url": receiver.url, "types": ["devices.device_enrolled"]}
        assert park.post("reading/open-webhook", opened).status_code == 201
        enrolled(park)
        clock.advance(timedelta(hours=2))
        receiver.until(lambda: bool(receiver.letters))
        enrolled(park, "gate-8")
        assert park.post("devices/revoke-device", {"device": "gate-8", "cause": "lost"}).status_code == 201
        first, second = listed(park, "gate-7"), listed(park, "gate-8")
        assert (first["enrolled_at"], first["seen_at"]) == ("2026-05-09T08:00:00Z",) * 2
        assert (second["enrolled_at"], second["revoked_at"]) == ("2026-05-09T10:00:00Z",) * 2
        receiver.until(lambda: bool(dead_letters(park)))
        assert {one["given_up_at"][:10] for one in dead_letters(park)} == {"2026-05-09"}
    databases.drop(database)


def dead_letters(park):
    return park.get(f"/parks/{park.park}/reading/dead-letters", "auditor").json()["dead_letters"]


def test_a_key_of_another_park_or_of_another_device_opens_nothing(park):
    key = enrolled(park)
    other = enrolled(park, "gate-8")
    refused(asks(park, f"gate-8.{key.rpartition('.')[2]}"), 401, "not-authenticated")
    elsewhere = park.portal.call(park.running.devices.enrol, "elsewhere", "gate-7", frozenset({"staging"}), None)
    refused(asks(park, elsewhere), 401, "not-authenticated")
    assert works(park, key)
    assert works(park, other)


def test_a_device_whose_name_has_dots_has_a_key_that_works(park):
    assert works(park, enrolled(park, "gate.north.7"))


def test_a_revocation_holds_in_another_process_within_a_second(park):
    """The other process is another keeper of devices with connections of its own, over the same database, asked all the while."""
    key = enrolled(park)

    async def until_refused():
        pool = Pool(park.running.pool.url)
        try:
            devices = Devices(pool, SystemClock())
            await devices.identify(park.park, f"Bearer {key}")
            answer = await asking(devices)
        finally:
            await pool.close()
        return answer

    async def asking(devices):
        async with httpx.AsyncClient(base_url=park.url) as http:
            body = {"device": "gate-7", "cause": "stolen"}
            where = f"/parks/{park.park}/devices/revoke-device"
            assert (await http.post(where, json=body, headers=park.headers("head_referee"))).status_code == 201
        began = time.monotonic()
        while time.monotonic() < began + 3:
            try:
                await devices.identify(park.park, f"Bearer {key}")
            except KeyRevoked as error:
                return type(error).__name__, time.monotonic() - began
            await anyio.sleep(0.01)
        return "never", 3.0

    name, seconds = park.portal.call(until_refused)
    assert name == "KeyRevoked"
    assert seconds < MOST_SECONDS
    assert "revoked" in refused(asks(park, key), 401, "key-revoked")["detail"]
    assert listed(park, "gate-7")["state"] == "revoked"


def test_a_revocation_sent_again_touches_no_key_that_was_made_since(park):
    enrolled(park)
    headers = park.headers("manager")
    body = json.dumps({"device": "gate-7", "cause": "lost"}).encode()
    assert park.send("devices/revoke-device", body, headers).status_code == 201
    anew = enrolled(park)
    assert park.send("devices/revoke-device", body, headers).json()["repeat"]
    assert works(park, anew)


def test_of_an_enrolment_and_a_revocation_at_once_the_later_event_wins_whichever_is_written_down_last(park):
    devices = park.running.devices
    park.portal.call(devices.revoked_at, park.park, "gate-7", 20)
    with pytest.raises(KeyRevoked):
        park.portal.call(devices.enrol, park.park, "gate-7", frozenset({"staging"}), None, 19)
    key = park.portal.call(devices.enrol, park.park, "gate-7", frozenset({"staging"}), None, 21)
    park.portal.call(devices.revoked_at, park.park, "gate-7", 20)
    assert works(park, key)


def test_only_who_may_invites_and_revokes(park):
    refused(park.post("devices/invite-device", {"device": "g", "roles": ["desk"]}, "head_referee"), 403, "not-allowed")
    refused(park.post("devices/revoke-device", {"device": "g", "cause": "lost"}, "desk"), 403, "not-allowed")
    refused(park.post("devices/revoke-device", {"device": "g", "cause": "lost"}, "manager"), 404, "unknown-subject")


def test_wrong_keys_are_held_up_and_then_refused_at_once_while_right_ones_go_on(park):
    key, other = enrolled(park), enrolled(park, "gate-8")
    waits = []
    for _ in range(10):
        began = time.monotonic()
        refused(asks(park, "gate-7.guess"), 401, "not-authenticated")
        waits.append(time.monotonic() - began)
    assert waits[0] < 0.5
    assert waits[-1] > 1.9
    began = time.monotonic()
    answer = asks(park, "gate-7.guess")
    refused(answer, 429, "too-many-tries")
    assert 1 <= int(answer.headers["Retry-After"]) <= 61
    assert time.monotonic() - began < 0.5
    refused(asks(park, "gate-9.guess"), 429, "too-many-tries")
    began = time.monotonic()
    assert works(park, other), "another device goes on, from the same address"
    fresh = park.enrol("gate-10", "staging")
    assert works(park, fresh), "even one that was never heard before"
    assert time.monotonic() - began < 0.5
    refused(asks(park, key), 429, "too-many-tries")
    assert not works(park, key), "whoever has tried ten for a device waits, even with the right key"


def test_after_ten_wrong_codes_none_is_looked_at_for_a_minute(park):
    code = invite(park)
    for number in range(10):
        refused(take(park, f"00000-0000{number}"), 422, "code-not-known")
    refused(take(park, code), 429, "too-many-tries")
    assert works(park, park.enrol("gate-10", "staging")), "keys are another matter"


def test_what_a_device_says_of_itself_is_listed(park):
    key = enrolled(park)
    invite(park, "gate-8", ("desk",))
    now = time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime(time.time() + 90))
    asks(park, key, **{"Device-Time": now, "Device-Version": "2026.5", "Device-Seq": "41"})
    asks(park, key, **{"Device-Version": "not a version", "Device-Time": "noon", "Device-Seq": "-3"})
    gate = listed(park, "gate-7")
    assert (gate["state"], gate["version"], gate["last_seq"]) == ("enrolled", "2026.5", 41)
    assert 85_000 < gate["ahead_ms"] <= 90_000
    assert gate["seen_at"] is not None
    waiting = listed(park, "gate-8")
    assert (waiting["state"], waiting["roles"], waiting["seen_at"]) == ("invited", ["desk"], None)
    assert waiting["invited_until"] is not None
    assert listed(park, "device-desk")["state"] == "enrolled", "one from before there were invitations"


def test_what_a_device_says_when_it_is_enrolled_is_listed_before_it_says_anything_else(park):
    take(park, invite(park, "gate-new"), version="2026.7")
    gate = listed(park, "gate-new")
    assert (gate["version"], gate["seen_at"] is None) == ("2026.7", False)


def test_a_person_at_a_device_may_do_what_both_are_for(park):
    def inspect(actor, role="everything"):
        return park.post("games/inspect-field", {"field": "birch", "passed": True}, role, actor=actor)

    field = {"field": "birch", "title": "Birch Wood", "limit_fps": 285, "stop_limit_fps": 300}
    assert park.post("games/configure-field", field, "manager").status_code == 201
    for staff, post, until in (
        ("staff-ref", "referee", "2999-12-31"),
        ("staff-gear", "gear", "2999-12-31"),
        ("staff-late", "referee", "2020-01-01"),
    ):
        body = {"staff": staff, "qualifications": [{"post": post, "until": until}]}
        assert park.post("duty/register-staff", body, "manager").status_code == 201
    assert inspect("staff-ref").status_code == 201
    assert inspect("staff-unknown").status_code == 201
    assert "staff-gear was qualified for gear" in refused(inspect("staff-gear"), 403, "not-allowed")["detail"]
    assert "for nothing" in refused(inspect("staff-late"), 403, "not-allowed")["detail"]
    hold = {"hold": "hold-1", "field": "birch", "cause": "injury"}
    assert park.post("games/ask-hold", hold, "gear", actor="staff-late").status_code == 201, "anybody may stop play"


class Moving:
    """The system's clock, some seconds ahead."""

    ahead = 0.0

    def now(self):
        return datetime.now(UTC) + timedelta(seconds=self.ahead)


def test_a_backup_from_before_a_revocation_brings_no_lost_tablet_back_to_life(databases, nats_urls):
    """What the older backup says of the device is put into its row by hand; the folder outside is the same."""
    database = databases.create()
    server = Server(database.url, nats_urls, "larchfen")
    park = server.up()
    lost, found = enrolled(park, "gate-7"), park.enrol("gate-8", "staging")
    assert park.post("devices/revoke-device", {"device": "gate-7", "cause": "lost"}).status_code == 201
    assert park.post("devices/revoke-device", {"device": "gate-8", "cause": "lost"}).status_code == 201
    anew = enrolled(park, "gate-8")
    server.down()
    with psycopg.connect(database.admin_url, autocommit=True) as connection:
        connection.execute("UPDATE log.device SET revoked_at = NULL, position = 0")
    park = server.up()
    refused(asks(park, lost), 401, "key-revoked")
    assert works(park, anew), "a key that was made since is another"
    refused(asks(park, found), 401, "not-authenticated")
    server.down()
    databases.drop(database)
