"""What a field's gate keeps for when it has no network: everybody of today, judged for that field."""

import asyncio
from collections.abc import Iterable
from typing import Final

from contracts.envelope import Reason
from contracts.gate import AtGate, GateGame, GateList
from contracts.passes import fingerprint
from contracts.problems import UnknownSubject
from services.board.at_hand import AtHand, Verdict
from services.clearance import model as clearance
from services.clearance import play
from services.clearance.field import FIELD
from services.games.states import GAME
from services.registration.states import PLAYER

SLICE: Final = 50
"""Players judged before the others in this process get their turn."""
Found = tuple[Verdict, tuple[Reason, ...]]


class Gate:
    """One field's list. Whoever the board has not judged anew since keeps what was found of him here."""

    def __init__(self, park: str, field: str) -> None:
        self.park = park
        self.field = field
        self._found: dict[str, Found] = {}

    async def list(self, at_hand: AtHand, epoch: int) -> GateList:
        """Raises UnknownSubject for a field that the record does not know."""
        story = at_hand.given.of(FIELD, self.field)
        if story.configured is None:
            raise UnknownSubject(
                f"The record knows no field {self.field}. Check the spelling, or have a manager configure it.",
                where=f"field:{self.field}",
            )
        moment = at_hand.moment
        shut = tuple(play.at_the_gate(at_hand.given, self.field, moment))
        await self._judge(at_hand)
        players = [self._player(at_hand, name, shut=bool(shut)) for name in self._found]
        return GateList(
            park=self.park,
            field=self.field,
            title=story.configured.title,
            day=moment.day,
            time_zone=moment.rules.time_zone,
            epoch=epoch,
            position=moment.position,
            as_of=moment.now,
            offline_minutes=moment.rules.offline.minutes,
            game=_game(at_hand, story.running),
            reasons=shut,
            players=tuple(sorted(players, key=lambda one: (one.armband, one.player))),
        )

    async def _judge(self, at_hand: AtHand) -> None:
        for done, (player, verdict) in enumerate(list(at_hand.verdicts.items())):
            before = self._found.get(player)
            if before is None or before[0] is not verdict:
                self._found[player] = verdict, tuple(self._reasons(at_hand, player, verdict))
            if done % SLICE == SLICE - 1:
                await asyncio.sleep(0)
        for gone in self._found.keys() - at_hand.verdicts.keys():
            del self._found[gone]

    def _reasons(self, at_hand: AtHand, player: str, verdict: Verdict) -> Iterable[Reason]:
        if verdict.field == self.field:
            return verdict.reasons
        return clearance.reasons(at_hand.given, player, self.field, at_hand.moment)

    def _player(self, at_hand: AtHand, name: str, *, shut: bool) -> AtGate:
        who, reasons = at_hand.given.of(PLAYER, name), self._found[name][1]
        return AtGate(
            player=name,
            armband=who.armband,
            part=who.part,
            pass_sha256=fingerprint(who.day_pass),
            replaced_sha256=tuple(map(fingerprint, who.old_passes)),
            cleared=not (reasons or shut),
            reasons=reasons,
        )


def _game(at_hand: AtHand, running: str | None) -> GateGame | None:
    called = at_hand.given.of(GAME, running).called if running else None
    return GateGame(game=called.game, format=called.format) if called else None
