"""From a one-time code to a key on the device's disk."""

from os import PathLike
from random import SystemRandom

import httpx
import msgspec

from contracts.client.clock import Bits, Clock, SystemClock, uuid7
from contracts.client.keys import DeviceKey, Place
from contracts.client.wire import ANSWERS_WITHIN, checked, reaching, told
from contracts.devices import Enrol, Enrolment


def enrol(  # noqa: PLR0913 - the last ones have a default and a name
    url: str,
    park: str,
    code: str,
    keep: str | PathLike[str],
    *,
    version: str = "",
    clock: Clock | None = None,
    random: Bits | None = None,
    http: httpx.Client | None = None,
) -> DeviceKey:
    """Spend a manager's code, and keep the key in a new file that only this account can read (mode 0600).

    The park shows the key this once. Where no answer comes (Unreachable) the code may be spent: ask the manager for another.
    Raises FileExistsError where there is a key already, and what the park says of the code.
    """
    place = Place(keep)
    client = http or httpx.Client(base_url=url, timeout=ANSWERS_WITHIN)
    try:
        body = Enrol(code=code.strip(), version=version or None)
        name = uuid7(clock or SystemClock(), random or SystemRandom())
        headers = {"Content-Type": "application/json", "Idempotency-Key": f'"{name}"'}
        with reaching():
            answer = client.post(f"/parks/{park}/devices/enrol", content=msgspec.json.encode(body), headers=headers)
            made: Enrolment = told(checked(answer.status_code, answer.headers, answer.content), Enrolment)
        key = DeviceKey(url=url, park=park, device=made.device, key=made.key, roles=made.roles, station=made.station)
        place.keep(key)
    finally:
        place.close()
        if http is None:
            client.close()
    return key
