"""Serving: the parks of this process behind one port, with the invented day played first where it is asked for."""

import asyncio
import secrets
import signal
import socket
import sys
from contextlib import AsyncExitStack
from datetime import time
from pathlib import Path

import msgspec
from msgspec import Struct

from contracts import leaf
from contracts.client import Unreachable
from contracts.problems import Refused
from contracts.words import Role
from deploy.app import Running, listening, running
from deploy.demo.clock import RunningClock
from deploy.demo.invitations import OFFICE
from deploy.demo.play import PARK, opening_time, play
from deploy.demo.station import DemoError
from deploy.demo.summary import Summary
from deploy.embedded import BusUrls
from deploy.services import PROJECTIONS, SERVICES
from deploy.state import private_folder, replace_private
from services.core.auth import Devices
from services.core.garbage import look_seldom
from services.core.settings import STREAMS_PER_KEY

Keys = dict[str, str]
"""Each device's key, by its name."""
BLANK = "blank"
FIRST_DEVICE: dict[str, frozenset[Role]] = {OFFICE: frozenset({"manager"})}


class DemoFailed(Exception):  # noqa: N818 - the day failed, not the program
    """The invented day did not go as it was written."""


class Plan(Struct, frozen=True):
    """What is asked of this run."""

    once: bool = False
    empty: bool = False
    seed: int = 7
    named: str = BLANK
    """The blank park's name, in each of its addresses and events for good."""
    streams_per_key: int = STREAMS_PER_KEY
    until: time | None = None
    """Up to which time of day the invented day is played; then it goes on by itself, and nobody plays any more."""

    @property
    def park(self) -> str:
        """A day played once has a park of its own, whatever database it is given."""
        if self.once:
            return f"{PARK}-{secrets.token_hex(4)}"
        return self.named if self.empty else PARK


def tell(line: str) -> None:
    """A line for the person at the terminal."""
    sys.stdout.write(line + "\n")
    sys.stdout.flush()


async def serve(database_url: str, bus: BusUrls, made: socket.socket, state: Path, plan: Plan) -> Summary | None:
    """Serve until a signal, or until the day that was to be played once is over; then what it came to."""
    look_seldom()
    park, clock = plan.park, RunningClock()
    stop = _on_signal()
    outside = private_folder(state / "outside")
    host, port = made.getsockname()[:2]
    address = f"http://{host}:{port}"
    async with (
        running(
            database_url,
            bus,
            [park],
            SERVICES,
            PROJECTIONS,
            clock,
            outside,
            streams_per_key=plan.streams_per_key,
        ) as up,
        AsyncExitStack() as served,
    ):
        head = await up.parks[park].log.head()
        fresh = head.position == 0 and not plan.empty
        # Before anybody is answered the clock is right, and the keys lie where they are said to.
        await (_begin(up, park, clock, state) if fresh else _resume(up, park, clock, state))
        await served.enter_async_context(listening(up.app, made))
        summary = await _play(up, park, address, state, clock, plan, stop) if fresh else None
        if plan.once or stop.is_set():
            return summary
        tell(f"The board: {address}/parks/{park}/board")
        tell(f"Device keys: {_keys(state, park)}\nStop with Ctrl-C; what was recorded stays.")
        await stop.wait()
        return None


def _on_signal() -> asyncio.Event:
    stop = asyncio.Event()
    for number in (signal.SIGINT, signal.SIGTERM):
        asyncio.get_running_loop().add_signal_handler(number, stop.set)
    return stop


async def _begin(up: Running, park: str, clock: RunningClock, state: Path) -> Keys:
    """An invented day is to be played: its clock stands at its opening, and its office has a key, to invite the stations with."""
    clock.set(opening_time(clock.now()))
    return await enrol(up.devices, park, FIRST_DEVICE, state)


async def _play(  # noqa: PLR0913, PLR0917
    up: Running, park: str, address: str, state: Path, clock: RunningClock, plan: Plan, stop: asyncio.Event
) -> Summary | None:
    """Play the day unless a signal comes first."""
    tell(f"Playing a day at Larchmoor, seed {plan.seed}. Watch it: {address}/parks/{park}/board")
    office = _read(state, park)[OFFICE]
    day = asyncio.ensure_future(
        play(up, park, address, office, clock, plan.seed, tell, plan.until, lambda keys: _keep(state, park, keys))
    )
    ending = asyncio.ensure_future(stop.wait())
    await asyncio.wait({day, ending}, return_when=asyncio.FIRST_COMPLETED)
    ending.cancel()
    if not day.done():
        day.cancel()
        tell("Stopped in the middle of the day; what was recorded stays.")
        return None
    try:
        summary = day.result()
    except (DemoError, Refused, Unreachable) as error:
        raise DemoFailed(f"The invented day did not go as it was written: {error!r}") from error
    clock.run()
    if not plan.once:
        tell(msgspec.json.encode(summary).decode())
    return summary


async def _resume(up: Running, park: str, clock: RunningClock, state: Path) -> Keys:
    """Go on where the log ends: the park's clock never runs behind it."""
    rows = await up.parks[park].log.tail(max(0, (await up.parks[park].log.head()).position - 1), 1)
    if rows:
        clock.not_before(leaf.decode(rows[0].leaf).recorded_at)
        tell(f"{park} goes on: {rows[0].position} events are on record.")
    return await enrol(up.devices, park, FIRST_DEVICE, state)


def _keys(state: Path, park: str) -> Path:
    return state / f"keys-{park}.json"


def _read(state: Path, park: str) -> Keys:
    return msgspec.json.decode(_keys(state, park).read_bytes(), type=Keys)


def _keep(state: Path, park: str, keys: Keys) -> None:
    """In a file that only this account can read."""
    replace_private(_keys(state, park), msgspec.json.format(msgspec.json.encode(keys), indent=2))


async def enrol(devices: Devices, park: str, wanted: dict[str, frozenset[Role]], state: Path) -> Keys:
    """Enrol devices without an invitation and keep their keys; a run broken off before left them there."""
    if _keys(state, park).exists():
        return _read(state, park)
    keys = {name: await devices.enrol(park, name, roles, name) for name, roles in wanted.items()}
    _keep(state, park, keys)
    return keys
