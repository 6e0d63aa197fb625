"""The bench through the day: checks of the chronographs, a round at noon, spot checks on the fields, and two faults that nobody knows of.

From noon on `bench-1` reads 4 ft/s low, so that it passes markers that it should not; and the hired marker `markers.CREEPS` creeps.
"""

from itertools import chain
from random import Random
from typing import Any, Final

from contracts.velocity import SpotCheckMarker
from deploy.demo.agenda import Agenda
from deploy.demo.bench import BENCHES, Bench
from deploy.demo.cast import Player
from deploy.demo.field import FieldDay
from deploy.demo.markers import CREEPS, NOON, limit_fps

CHECKS: Final = (55.0, 115.0, 175.0, 235.0, 290.0, 350.0, 410.0, 470.0)
"""About every hour, in minutes after eight; the first are before opening."""
FAULTY: Final = "bench-1"
READS_LOW_FPS: Final = 4.0
NOON_ROUNDS: Final = (NOON + 4, NOON + 29)
"""In each, other rotations wait."""
NEAREST: Final = 12
"""How many of a field's waiting markers are measured in a noon round: those that were nearest to the limit."""
ON_BOTH: Final = 3
"""How many of these on both chronographs."""
RETESTS: Final = 322.0
"""While everybody waits for the thunder to pass."""


class Rounds:
    """What is measured beyond each player's arrival."""

    def __init__(self, fields: dict[str, FieldDay], bench: Bench, agenda: Agenda, random: Random) -> None:
        self._fields = [fields["birch"], fields["quarry"]]
        self._bench, self._agenda, self._random = bench, agenda, random
        self._measured: set[str] = set()
        self._spot_checks = 0
        for field in fields.values():
            field.to_bench = self.put_right
        for field in self._fields:
            field.in_each_game = self.spot_check

    def plan(self) -> None:
        for minute in CHECKS:
            self._agenda.at(minute, self._bench.check_all)
        self._agenda.at(NOON, self._fails)
        for minute in NOON_ROUNDS:
            self._agenda.at(minute, self.at_noon)
        self._agenda.at(RETESTS, self.measure_again)

    async def _fails(self) -> None:
        self._bench.off_fps[FAULTY] = -READS_LOW_FPS

    async def at_noon(self) -> None:
        """It has become warm: whoever waits and was nearest to the limit in the morning has his marker measured, some on both chronographs."""
        for field in self._fields:
            waiting = [one for one in field.waiting if one.marker in self._bench.fastest.keys() - self._measured]
            nearest = sorted(waiting, key=lambda one: self._bench.fastest[one.marker] - limit_fps(one.marker))[
                -NEAREST:
            ]
            nearest += [one for one in waiting if one.marker == CREEPS and one not in nearest]
            for index, player in enumerate(reversed(nearest)):
                self._measured.add(player.marker)
                first, second = BENCHES if index % 2 else reversed(BENCHES)
                await self._bench.measure(player.marker, first)
                if index < ON_BOTH:
                    await self._bench.measure(player.marker, second)

    async def measure_again(self) -> None:
        """What a chronograph measured that was then found out of control, and is still cleared; what creeps is on the crew's list.

        Who is not cleared any more hears it at his next start.
        """
        bench = self._bench
        cleared = [marker for marker, bias in bench.doubted.items() if bench.fastest[marker] - bias < limit_fps(marker)]
        for marker in dict.fromkeys((*cleared, *self._creeping())):
            await bench.measure(marker, bench.open)

    async def put_right(self, player: Player, codes: set[str]) -> None:
        """Who was named at the start for his marker's speed goes to the bench. After a failed spot check the adjuster is turned first."""
        if "spot_check_failed" in codes:
            await self._bench.turn_down(player.marker)
        await self._bench.measure(player.marker, self._bench.open)

    async def spot_check(self, field: FieldDay, players: list[Player]) -> None:
        """One marker in each game, and the one that the referees have an eye on."""
        hired = [one for one in players if not one.own_gear]
        watched = [one for one in hired if one.marker == CREEPS]
        others = [one for one in hired if one.marker != CREEPS]
        for player in (*watched, *self._random.sample(others, min(1, len(others)))):
            self._spot_checks += 1
            spot = SpotCheckMarker(
                check=f"spot-{self._spot_checks:02}",
                marker=player.marker,
                field=field.name,
                game=field.game,
                player=player.name,
                speed_fps=round(self._bench.markers.shot(player.marker), 1),
            )
            if _finding(await field.handheld.do(spot, actor="ref-02")) != "under":
                self._bench.fastest.pop(player.marker, None)
                await field.out(player, "walked_off")

    def _creeping(self) -> list[str]:
        everybody = chain.from_iterable(field.waiting for field in self._fields)
        return [one.marker for one in everybody if one.marker == CREEPS]


def _finding(answer: dict[str, Any]) -> str:
    return str(answer["events"][-1]["data"]["finding"])
