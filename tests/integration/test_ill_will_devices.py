"""Ill will at the edge: what a device that is stolen, broken or hostile tries, and what a person's mistake must not bring about."""

import time
from collections import deque
from contextlib import suppress
from itertools import count
from zlib import crc32

import httpx
import psycopg
import pytest

from contracts.problems import KeyRevoked
from services.core.tries import MOST
from tests.browser.server import Server
from tests.integration.batches import holds, line, problems, recorded, send, verdicts
from tests.integration.test_devices import asks, enrolled, refused, works

pytestmark = pytest.mark.timeout(300)
_devices = count(1)


@pytest.fixture
def device(live):
    name = f"stolen-{next(_devices)}"
    return name, live.enrol(name, "referee", "staging")


@pytest.fixture
def numbers(request):
    """Numbers that no other test uses, as keys are of the whole park."""
    return count(2 * 10**12 + crc32(request.node.name.encode()) * 1000)


@pytest.fixture
def server(databases, nats_urls, request):
    """A park of its own that can be taken down and brought up again, and its database."""
    database = databases.create()
    made = Server(database.url, nats_urls, f"larchfen-{crc32(request.node.name.encode())}")
    yield made, database
    made.down()
    databases.drop(database)


def revoke(live, name):
    assert live.post("devices/revoke-device", {"device": name, "cause": "stolen"}, "manager").status_code == 201


def set_aside(live, name):
    answer = live.http.get(
        f"/parks/{live.park}/devices/set-aside",
        params={"device": name},
        headers={"Authorization": f"Bearer {live.keys['manager']}"},
    )
    assert answer.status_code == 200, answer.text
    return answer


def test_a_batch_that_was_begun_before_its_key_was_revoked_records_nothing_after_it(live, device, numbers):
    """Whoever has a stolen tablet may have begun a body that never ends."""
    name, secret = device
    before = live.head()
    first, second, third = holds([next(numbers) for _ in range(3)])

    def slowly():
        yield first
        until = time.monotonic() + 10
        while not recorded(live, before, name) and time.monotonic() < until:
            time.sleep(0.02)
        revoke(live, name)
        time.sleep(1.1)
        yield second
        yield third

    told, _ = verdicts(send(live, secret, slowly()))
    assert problems(told) == ["-", "device-revoked", "device-revoked"]
    assert len(recorded(live, before, name)) == 1


def test_a_batch_that_was_begun_before_its_key_was_replaced_records_nothing_after_it(live, device, numbers):
    name, secret = device
    before = live.head()
    first, second = holds([next(numbers) for _ in range(2)])

    def slowly():
        yield first
        until = time.monotonic() + 10
        while not recorded(live, before, name) and time.monotonic() < until:
            time.sleep(0.02)
        live.portal.call(live.running.devices.enrol, live.park, name, frozenset({"referee"}), None, live.head() + 1)
        time.sleep(1.1)
        yield second

    with suppress(httpx.TransportError):
        assert send(live, secret, slowly()).status_code == 401
    assert len(recorded(live, before, name)) == 1


def test_whatever_letters_a_line_holds_it_is_set_aside_and_holds_up_no_other(live, device, numbers):
    """PostgreSQL's text takes no U+0000 (its manual, section 8.3), and what is wrong with a line may repeat a name of it."""
    name, secret = device
    odd = b'{"key":"017f22e2-79b0-7cc3-98c4-dc0c0c07398f","seq":1,"command":"games/ask-hold","body":{},"a\\u0000b":1}\n'
    (good,) = holds([next(numbers)])
    told, end = verdicts(send(live, secret, odd + good))
    assert problems(told) == ["invalid-body", "-"]
    assert end["resume"] is None
    (waiting,) = set_aside(live, name).json()["lines"]
    assert waiting["claimed"].encode() + b"\n" == odd


def test_long_lines_that_were_set_aside_are_listed_some_at_a_time(live, device, numbers):
    """A hundred tablets show the list; one hostile device must not make it as long as all that it may keep there."""
    name, secret = device
    long = [line(next(numbers), "games/ask-nothing", {"text": "x" * 900_000}) for _ in range(10)]
    verdicts(send(live, secret, b"".join(long)))
    answer = set_aside(live, name)
    told = answer.json()
    assert len(answer.content) < 4_000_000
    assert told["lines"]
    assert told["more"]
    for _ in range(10):
        for one in set_aside(live, name).json()["lines"]:
            done = live.post("devices/dismiss-line", {"line": one["line"], "cause": "unreadable"}, "manager")
            assert done.status_code == 201
    assert set_aside(live, name).json()["lines"] == []


def test_a_line_that_was_dismissed_is_not_recorded_when_it_comes_again(live, device, numbers):
    """After a restore devices send again what was refused; a person has recorded by hand what it told."""
    name, secret = device
    number = next(numbers)
    out = line(number, "games/record-out", {"player": f"p-{number}", "field": f"f-{number}", "cause": "walked_off"})
    told, _ = verdicts(send(live, secret, out))
    assert problems(told) == ["unknown-subject"]
    (waiting,) = set_aside(live, name).json()["lines"]
    assert (
        live.post("devices/dismiss-line", {"line": waiting["line"], "cause": "recorded_by_hand"}, "manager").status_code
        == 201
    )
    person, player, field = f"person-{number}", f"p-{number}", f"f-{number}"
    registered = {"player": player, "person": person, "day_pass": f"pass-{number}", "armband": number % 9000 + 1}
    configured = {"field": field, "title": "Alder", "limit_fps": 285, "stop_limit_fps": 300, "age_floor": 10}
    for command, body in (
        ("registration/register-person", {"person": person, "age_band": 18}),
        ("registration/register-player", registered),
        ("games/configure-field", configured),
    ):
        made = live.post(command, body)
        assert made.status_code == 201, made.text
    before = live.head()
    told, _ = verdicts(send(live, secret, out))
    assert problems(told) == ["unknown-subject"]
    assert told[0]["set_aside"]
    assert recorded(live, before, name) == []


def test_a_backup_from_before_a_tablet_was_enrolled_anew_brings_its_old_key_not_back(server):
    """A tablet is stolen, and a manager enrols another one under its name: that replaces its key, and needs no revocation."""
    process, database = server
    park = process.up()
    stolen = enrolled(park, "gate-7")
    with psycopg.connect(database.admin_url, autocommit=True) as connection:
        backup = connection.execute("SELECT secret_hash, position FROM log.device WHERE id = 'gate-7'").fetchone()
    enrolled(park, "gate-7")
    process.down()
    with psycopg.connect(database.admin_url, autocommit=True) as connection:
        connection.execute("UPDATE log.device SET secret_hash = %s, position = %s WHERE id = 'gate-7'", backup)
    park = process.up()
    refused(asks(park, stolen), 401, "key-revoked")


def test_a_first_device_whose_key_was_not_kept_is_enrolled_again(server):
    """The process was killed between the row and the file: without this no manager could ever be let in."""
    process, _ = server
    park = process.up()
    first = park.enrol("office", "staging")
    second = park.enrol("office", "staging")
    assert works(park, second)
    refused(asks(park, first), 401, "not-authenticated")
    assert park.post("devices/revoke-device", {"device": "office", "cause": "lost"}).status_code == 201
    with pytest.raises(KeyRevoked):
        park.enrol("office", "staging")


def test_a_device_that_has_spoken_goes_on_whatever_others_try_in_its_name_from_its_address(server):
    """Behind one proxy or router all come from one address: nobody there may shut out the handheld that calls STOP."""
    process, _ = server
    park = process.up()
    key = park.enrol("handheld-1", "staging")
    assert works(park, key)
    tries = park.running.devices.tries
    for whom in (("address", "127.0.0.1"), ("device", park.park, "handheld-1"), (park.park, "handheld-1", "127.0.0.1")):
        tries._wrong[whom] = deque([time.monotonic()] * MOST, maxlen=MOST)  # as after ten wrong keys, without the waits
    refused(asks(park, "handheld-1.guess"), 429, "too-many-tries")
    assert works(park, key)
