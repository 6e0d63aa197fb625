"""The invented Saturday from opening to closing."""

from collections.abc import Callable
from datetime import datetime
from functools import partial
from random import Random
from typing import Final

import httpx

from contracts.equipment import ReturnGear
from contracts.park import CloseDay, RecordWeather
from contracts.registration import HandOverMinor, RecordLeft
from contracts.words import Role
from deploy.demo import opening
from deploy.demo.agenda import Agenda
from deploy.demo.arrival import Arrival
from deploy.demo.bench import Bench
from deploy.demo.cast import FIELDS, Group, groups
from deploy.demo.clock import RunningClock
from deploy.demo.field import FieldDay
from deploy.demo.markers import NOON, NOON_C, Markers
from deploy.demo.passes import Printer
from deploy.demo.rounds import Rounds
from deploy.demo.station import DemoError, Station
from deploy.demo.stories import Stories

DEVICES: Final[dict[str, frozenset[Role]]] = {
    "office": frozenset({"manager"}),
    "desk-1": frozenset({"desk"}),
    "counter-1": frozenset({"gear"}),
    "chrono-1": frozenset({"chrono"}),
    "chrono-2": frozenset({"chrono"}),
    "staging-1": frozenset({"staging"}),
    "head-handheld": frozenset({"head_referee"}),
    "aid-handheld": frozenset({"first_aider"}),
    "far-handheld": frozenset({"referee"}),
    **{f"{name}-handheld": frozenset[Role]({"referee"}) for name in FIELDS},
}
"""The stations of the day, each with its own key and rights."""

UNPAID: Final = 4
"""The group that has not paid when its first game is called."""
FIRST_GAME: Final = 105
THUNDER: Final = 312
PASSING: Final = 316
CLEAR_SKY: Final = 347
HOME: Final = 505


class Day:
    """Plays the day. `tell` is given a line for the terminal now and then."""

    def __init__(  # noqa: PLR0913, PLR0917 - the wiring names what it wires
        self,
        http: httpx.AsyncClient,
        park: str,
        keys: dict[str, str],
        clock: RunningClock,
        seed: int,
        tell: Callable[[str], None],
    ) -> None:
        self._random = Random(seed)  # noqa: S311 - an invented day, not a secret
        self._tell = tell
        self._clock = clock
        self._start: datetime = clock.now()
        self._agenda = Agenda(clock, self._start)
        self.stations = {name: Station(http, park, key, clock, self._random) for name, key in keys.items()}
        self._groups = groups(self._random)
        clerk = self.stations["chrono-1"]
        clerks = {"bench-1": clerk, "bench-2": self.stations["chrono-2"], "field-1": clerk}
        self._bench = Bench(clerks, Markers(self._agenda, self._random), self._agenda, self._random, tell)
        printer = Printer(http, park, keys["desk-1"])
        self._arrival = Arrival(self.stations["desk-1"], printer, self.stations["counter-1"], self._bench, clock)
        self.fields = {
            name: FieldDay(
                name,
                self.stations[f"{name}-handheld"],
                self.stations["staging-1"],
                self._agenda,
                self._random,
                respawn=name == "quarry",
            )
            for name in FIELDS
        }
        self.stories = Stories(
            self.fields,
            self._arrival,
            self.stations["head-handheld"],
            self.stations["aid-handheld"],
            self.stations["far-handheld"],
        )
        self._rounds = Rounds(self.fields, self._bench, self._agenda, self._random)

    async def play(self, until: float = float("inf")) -> None:
        """From opening to the last car off the car park, or up to a minute after opening, with everything as it is by then."""
        self._tell("Opening: rules, staff, fields, chronographs, the hired fleet.")
        head = self.stations["head-handheld"]
        await opening.open_park(self.stations["office"], head, self._clock.now().date(), self._bench)
        await self.stations["office"].have_signed()
        for index, group in enumerate(self._groups):
            self.fields[group.field].rotations[group.rotation] += group.players
            self._agenda.at(group.arrives, partial(self._arrival.receive, group, paid=index != UNPAID))
        self._agenda.at(FIRST_GAME + 45, lambda: self._arrival.pay(self._groups[UNPAID]))
        for index, field in enumerate(self.fields.values()):
            field.begin(FIRST_GAME + 5 * index)
        self.stories.plan()
        self._rounds.plan()
        self._agenda.at(NOON, self._warm)
        self._agenda.at(THUNDER, self._thunder)
        self._agenda.at(PASSING, self.stories.passing)
        self._agenda.at(CLEAR_SKY, self.stories.clear_sky)
        for index, group in enumerate(self._groups):
            self._agenda.at(HOME + index / 2, partial(self._leave, group))
        for hour in range(1, 9):
            self._agenda.at(60.0 * hour, self._progress)
        await self._agenda.run(until)
        if self._agenda.minute >= until:
            await self.stations["office"].have_signed()
            return
        await opening.check(head, "closing")
        await self.stations["office"].do(CloseDay(closed=self._start.date()))
        await self.stations["office"].have_signed()
        untold = [game for field in self.fields.values() for game in field.hooks]
        if untold:
            raise DemoError(f"what was to happen in these games of a rotation did not: {untold}")

    async def _warm(self) -> None:
        await self.stations["office"].do(RecordWeather(temperature_c=NOON_C, humidity_percent=58.0))

    async def _thunder(self) -> None:
        self._tell("Thunder: every field is held.")
        await self.stories.thunder()

    async def _progress(self) -> None:
        playing = sum(len(field.playing) for field in self.fields.values())
        self._tell(f"{self._clock.now():%H:%M}  {playing} players on lists or on the fields.")

    async def _leave(self, group: Group) -> None:
        """Gear back, minors to an adult, everybody off."""
        gone = self.fields[group.field].gone
        for player in group.players:
            if player.name in gone:
                continue
            gone.add(player.name)
            if not player.own_gear:
                await self.stations["counter-1"].do(
                    ReturnGear(player=player.name, marker=player.marker, mask=player.mask)
                )
            if player.minor:
                adult = player.guardian if group.kind.guardians_stay else group.adult.person
                await self.stations["desk-1"].do(HandOverMinor(player=player.name, adult=str(adult)))
            else:
                await self.stations["desk-1"].do(RecordLeft(player=player.name))
