"""One field through the day: game after game, its two rotations in turn, from list to head-count."""

from collections.abc import Awaitable, Callable
from functools import partial
from itertools import chain
from random import Random
from typing import Any, Final

from contracts.games import (
    AbandonGame,
    BriefGame,
    CallGame,
    ConfirmHold,
    CountHeads,
    EndGame,
    Entrant,
    LiftHold,
    RecordOut,
    StartGame,
)
from deploy.demo import teams
from deploy.demo.agenda import Agenda
from deploy.demo.cast import Player
from deploy.demo.station import DemoError, Station

PLAY: Final = 15.0
BREAK: Final = 10.0
LAST_START: Final = 16.0 * 60 - 8 * 60
"""No game starts after four in the afternoon, in minutes after eight."""

Hook = Callable[["FieldDay", list[Player]], Awaitable[None]]
ToBench = Callable[[Player, set[str]], Awaitable[None]]
WALK: Final = 6.0
"""From staging to the bench, in minutes."""


class FieldDay:
    """A field and its handheld. `hooks` are what happens in the middle of a rotation's n-th game, `in_each_game` in every one's.

    `to_bench`: where somebody goes who was named for what his marker shoots, with the codes.
    """

    def __init__(  # noqa: PLR0913 - the wiring names what it wires
        self, name: str, handheld: Station, staging: Station, agenda: Agenda, random: Random, *, respawn: bool
    ) -> None:
        self.name, self.handheld, self.staging = name, handheld, staging
        self.agenda = agenda
        self._random = random
        self._format = "respawn" if respawn else "elimination"
        self.rotations: dict[str, list[Player]] = {f"{name}-1": [], f"{name}-2": []}
        self.hooks: dict[tuple[str, int], Hook] = {}
        self.in_each_game: Hook | None = None
        self.to_bench: ToBench | None = None
        self.gone: set[str] = set()
        self._numbers = dict.fromkeys(self.rotations, 0)
        self._turn = 0
        self.game = ""
        self.playing: list[Player] = []
        self._inside: set[str] = set()
        self._started = 0.0
        self._held_since: float | None = None
        self._held = 0.0

    @property
    def waiting(self) -> list[Player]:
        """Who is on no list."""
        everybody = chain.from_iterable(self.rotations.values())
        return [player for player in everybody if player not in self.playing and player.name not in self.gone]

    def begin(self, minute: float) -> None:
        self.agenda.at(minute, self._call)

    async def _call(self) -> None:
        """The list is everybody of the rotation who has not gone home: the start says who is not ready. Some games are called from a proposal."""
        if self.agenda.minute > LAST_START:
            return
        rotation = f"{self.name}-{self._turn % 2 + 1}"
        self._turn += 1
        self._numbers[rotation] += 1
        self.game = f"{rotation}-{self._numbers[rotation]:02}"
        players = [player for player in self.rotations[rotation] if player.name not in self.gone]
        entrants = tuple(
            Entrant(player=player.name, colour="red" if index % 2 else "blue") for index, player in enumerate(players)
        )
        call = CallGame(
            game=self.game,
            field=self.name,
            rotation=rotation,
            format=self._format,  # type: ignore[arg-type]
            minutes=PLAY,
            entrants=entrants,
        )
        number = (rotation, self._numbers[rotation])
        if number in teams.PROPOSED:
            answer = await teams.proposal(self.staging, self.name, players)
            self._send_to_bench(players, answer["not_ready"])
            call = teams.called(call, answer, overruled=number in teams.OVERRULED)
        await self.staging.do(call)
        listed = {entrant.player for entrant in call.entrants}
        self.playing = [player for player in players if player.name in listed]
        self.agenda.at(self.agenda.minute + 3, self._start)

    async def _start(self) -> None:
        """Start with everybody; whoever is named as not cleared waits for the next one."""
        if self._held_since is not None:
            self.agenda.at(self.agenda.minute + 5, self._start)
            return
        await self.handheld.do(BriefGame(game=self.game))
        status, answer = await self.handheld.ask(StartGame(game=self.game))
        if status == 409:
            offenders = [offender["player"] for offender in answer["refusal"]["offenders"]]
            if not offenders:
                raise DemoError(f"{self.game} cannot start: {answer['detail']}")
            self._send_to_bench(self.playing, answer["refusal"]["offenders"])
            self.playing = [player for player in self.playing if player.name not in offenders]
            await self.handheld.do(StartGame(game=self.game, without=tuple(offenders)))
        elif status != 201:
            raise DemoError(f"{self.game}: {answer}")
        self._inside = {player.name for player in self.playing}
        self._started, self._held = self.agenda.minute, 0.0
        self.agenda.at(self._started + PLAY / 2, self._middle)
        self.agenda.at(self._started + PLAY, self._end)

    def _send_to_bench(self, among: list[Player], offenders: list[dict[str, Any]]) -> None:
        players = {player.name: player for player in among}
        for offender in offenders:
            codes = {reason["code"] for reason in offender["reasons"] if reason["where"] == "chronograph"}
            if codes and self.to_bench is not None:
                self.agenda.at(self.agenda.minute + WALK, partial(self.to_bench, players[offender["player"]], codes))

    async def _middle(self) -> None:
        """Hits are recorded when there is a moment for it, and whatever else this game has in store."""
        if not self.playing:
            return
        if self._format == "elimination":
            for player in self._random.sample(self.playing, len(self.playing) // 2):
                await self.out(player, "eliminated")
        if self.in_each_game is not None:
            await self.in_each_game(self, self.playing)
        rotation, _, number = self.game.rpartition("-")
        hook = self.hooks.pop((rotation, int(number)), None)
        if hook is not None:
            await hook(self, self.playing)

    async def out(self, player: Player, cause: str) -> None:
        if player.name in self._inside:
            self._inside.discard(player.name)
            await self.handheld.do(
                RecordOut(player=player.name, field=self.name, game=self.game, cause=cause)  # type: ignore[arg-type]
            )

    async def _end(self) -> None:
        if not self.playing:
            return
        remaining = PLAY - (self.agenda.minute - self._started - self._held)
        if self._held_since is not None or remaining > 0.05:
            self.agenda.at(self.agenda.minute + (5 if self._held_since is not None else remaining), self._end)
            return
        await self.handheld.do(EndGame(game=self.game, winner=self._random.choice(("red", "blue"))))
        await self._count()

    async def _count(self) -> None:
        await self.handheld.do(CountHeads(game=self.game, counted=len(self._inside)))
        self.playing = []
        self.agenda.at(self.agenda.minute + BREAK - 3, self._call)

    async def hold(self, hold: str) -> None:
        """The referee has stopped play: covers on."""
        await self.handheld.do(ConfirmHold(hold=hold, field=self.name))
        self._held_since = self.agenda.minute

    async def abandon(self) -> None:
        await self.handheld.do(AbandonGame(game=self.game, cause="weather"))
        await self._count()

    async def resume(self, hold: str) -> None:
        await self.handheld.do(LiftHold(hold=hold, field=self.name, swept=True))
        self._held += self.agenda.minute - (self._held_since or self.agenda.minute)
        self._held_since = None
