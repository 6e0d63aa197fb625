"""Who waits to play, as the rotation sees it: groups, and players who came alone; who of them is ready, since when, and for which fields.

A group is ready once all of its own are who may play today. Who sits out, is stood down, unfit or gone does not hold it up: it is called
without him. Who still lacks something holds it up for as long as the rule says; then it is called without him too.
"""

from collections import Counter
from collections.abc import Iterator
from datetime import datetime
from math import inf
from typing import Final

from msgspec import Struct

from contracts.games import FieldConfigured
from services.board.at_hand import AtHand
from services.board.heads import unaccounted
from services.board.rotation_grounds import kept_until
from services.board.verdicts import OF_THE_FIELD
from services.clearance import model as clearance
from services.clearance.presence import PRESENCE
from services.equipment.kit import KIT
from services.games.rotation.model import Party
from services.games.states import GAME
from services.registration.states import PLAYER
from services.velocity.states import BENCH

NOT_TODAY: Final = frozenset({"sitting_out", "stood_down", "ejected", "banned", "unfit", "left_park"})
"""Who has one of these is not waited for."""
HEADS: Final = "head-count"
"""What somebody lacks whom a head-count lacks: he may still be on his field."""


class Member(Struct, frozen=True):
    """One player: when he can play again, in minutes from now, the past negative; where he is fit to play; `lacks`: where what he lacks is cleared."""

    player: str
    ready: float = 0.0
    played: int = 0
    fields: tuple[str, ...] = ()
    lacks: str | None = None


class Waiting(Struct, frozen=True):
    """A party with its members who may play today."""

    party: Party
    members: tuple[Member, ...]

    @property
    def lacking(self) -> Counter[str]:
        """How many of them still lack something, by where it is cleared."""
        return Counter(one.lacks for one in self.members if one.lacks is not None)


def parties(at_hand: AtHand) -> list[Waiting]:
    """Everybody who is in the park and may play today, as parties by the tag of the group or of the player, in order of these."""
    found: dict[str, list[Member]] = {}
    asked, kept, played = _Asked(at_hand), _kept(at_hand), _played(at_hand)
    for player in at_hand.arrivals:
        who = at_hand.given.of(PLAYER, player)
        if who.part == "player" and not who.left:
            for member in _member(asked, player, kept, played[player]):
                tag = f"group:{who.group}" if who.group else f"player:{player}"
                found.setdefault(tag, []).append(member)
    return [_party(at_hand, tag, tuple(members)) for tag, members in sorted(found.items())]


def _kept(at_hand: AtHand) -> dict[str, float]:
    """For everybody who plays, or is on the list of a called game: the minutes until he comes off."""
    found: dict[str, float] = {}
    for game, until in kept_until(at_hand).items():
        state = at_hand.given.of(GAME, game)
        listed = (one.player for one in state.called.entrants) if state.called and not state.started else state.on_field
        found |= dict.fromkeys(listed, until)
    return found


def _played(at_hand: AtHand) -> Counter[str]:
    """How many games each has entered today."""
    games = (at_hand.given.of(GAME, run) for story in at_hand.fields for run in story.runs)
    return Counter(player for game in games for player in game.entered if player not in game.not_playing)


def _member(asked: "_Asked", player: str, kept: dict[str, float], played: int) -> Iterator[Member]:
    at_hand = asked.at_hand
    verdict, rest = at_hand.verdict(player), at_hand.moment.rules.games.rotation.rest_minutes
    codes = {one.code for one in verdict.reasons}
    if codes & NOT_TODAY:
        return
    fields = tuple(asked.fields(player))
    if player in asked.sought:
        yield Member(player, inf, played, lacks=HEADS)
    elif player in kept:
        yield Member(player, kept[player] + rest, played, fields)
    elif verdict.whereabouts == "on_field":
        yield Member(player, inf, played, fields)
    elif codes <= OF_THE_FIELD and fields:
        yield Member(player, _since(at_hand, player, rest), played, fields)
    else:
        yield Member(player, inf, played, lacks=verdict.station or "staging")


def _since(at_hand: AtHand, player: str, rest: float) -> float:
    """Since when he could play: his rest after coming off, or his marker's test, whichever was last; else since he came."""
    given, now = at_hand.given, at_hand.moment.now
    came = given.of(PLAYER, player).here_since or now
    tests = [one.place[0] for marker in given.of(KIT, player).markers for one in given.of(BENCH, marker).tests]
    since = [_from(now, max([came, *tests]))]
    off = _off(at_hand, player)
    return max([*since, _from(now, off) + rest] if off else since)


def _off(at_hand: AtHand, player: str) -> datetime | None:
    """When he came off the field that he was on last."""
    presence = at_hand.given.of(PRESENCE, player)
    if presence.entry is None:
        return None
    ends = [one.place[0] for one in presence.exits]
    over = at_hand.given.of(GAME, presence.entry.game).over if presence.entry.game else None
    return min([*ends, over.place[0]] if over else ends, default=presence.entry.place[0])


class _Asked:
    """For which fields somebody is fit. Fields of the same limits are asked once."""

    def __init__(self, at_hand: AtHand) -> None:
        self.at_hand, self.sought = at_hand, unaccounted(at_hand)
        self._alike: dict[tuple[object, ...], list[str]] = {}
        for story in at_hand.fields:
            if story.configured is not None:
                self._alike.setdefault(_limits(story.configured), []).append(story.field)

    def fields(self, player: str) -> Iterator[str]:
        verdict = self.at_hand.verdict(player)
        for fields in self._alike.values():
            if verdict.field in fields:
                codes = {one.code for one in verdict.reasons}
            else:
                found = clearance.reasons(self.at_hand.given, player, fields[0], self.at_hand.moment)
                codes = {one.code for one in found}
            if not codes & OF_THE_FIELD:
                yield from fields


def _limits(field: FieldConfigured) -> tuple[object, ...]:
    return field.limit_fps, repr(field.limit), field.age_floor, field.calibres, field.firing_modes


def _party(at_hand: AtHand, tag: str, members: tuple[Member, ...]) -> Waiting:
    there = [one for one in members if one.lacks is None]
    ready = max((one.ready for one in there), default=inf)
    straggles = at_hand.moment.rules.games.rotation.straggler_minutes if len(there) < len(members) else 0.0
    party = Party(
        name=tag,
        players=dict(sorted(Counter(field for one in there for field in one.fields).items())),
        ready_at=max(0.0, ready + straggles),
        waited=max(0.0, -ready),
        played=max((one.played for one in members), default=0),
    )
    return Waiting(party, members)


def _from(now: datetime, moment: datetime) -> float:
    return (moment - now).total_seconds() / 60
