"""A sender that is killed over and over: its receiver gets every event, in order, and a letter that comes again is the same letter."""

import time
from random import Random

import httpx
import msgspec
import pytest
import stamina

from contracts.words import Role
from tests.integration.receiver import receiving
from tests.integration.restored_park import Keeper, Park

pytestmark = pytest.mark.timeout(300)

ROLES: tuple[Role, ...] = ("manager", "desk")
KILLS = 4


class PatientKeeper(Keeper):
    """Sends the same again until the park has answered."""

    def post(self, path, body, headers):
        for attempt in stamina.retry_context(
            on=(httpx.HTTPError, AssertionError), attempts=None, timeout=60, wait_max=0.2
        ):
            with attempt:
                return super().post(path, body, headers)
        raise AssertionError


def test_a_sender_killed_at_any_moment_loses_nothing_and_repeats_only_under_the_same_id(databases, nats_urls, tmp_path):
    random = Random(6)  # noqa: S311 - moments, not secrets
    database = databases.create()
    park = Park(database, nats_urls, tmp_path, "larchmoor-killed")
    try:
        with receiving() as receiver:
            receiver.rule = lambda _number, _headers, _body: (time.sleep(random.uniform(0, 0.03)), 204)[1]
            park.start()
            device = PatientKeeper(park.http, park.name, park.enrol("gate", *ROLES))
            device.send("reading/open-webhook", {"webhook": "office", "url": receiver.url, "types": ["registration.*"]})
            for kill in range(KILLS):
                device.people(*(f"person-{kill}-{number}" for number in range(20)))
                time.sleep(random.uniform(0, 0.6))
                park.stop()
                park.start()
            wanted = [event.position for event in park.events() if event.type.startswith("registration.")]
            receiver.until(lambda: len(receiver.positions()) >= len(wanted), 60)
            letters = {headers["webhook-id"]: body for headers, body in receiver.letters}
            assert all(letters[headers["webhook-id"]] == body for headers, body in receiver.letters)
            assert receiver.positions() == wanted
            assert len(wanted) == 2 * 20 * KILLS
            told = [event["id"] for body in letters.values() for event in msgspec.json.decode(body)]
            assert len(told) == len(set(told))
    finally:
        park.stop()
        databases.drop(database)
