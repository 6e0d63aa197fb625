"""Where a player is: on which field, in which game, since when. Nobody enters a second field before the first has let him go."""

from datetime import datetime

from msgspec import Struct
from msgspec.structs import replace

from contracts.envelope import Data, Reason, Recorded
from contracts.games import (
    EntryRecorded,
    GameAbandoned,
    GameEnded,
    GameStarted,
    OutVoided,
    PlayerAdmitted,
    PlayerFound,
    PlayerOut,
)
from contracts.reasons import reason
from contracts.registration import MinorHandedOver, PlayerLeft, PlayerRegistered
from contracts.words import Part
from services.clearance.holds import Place
from services.core.fold import Evolve, Fold


class Unasked(Struct, frozen=True):
    """What stood against an entry that the gate let happen without the network, once it was told."""

    stale: bool
    reasons: tuple[Reason, ...]


class Entry(Struct, frozen=True):
    """Through a field's gate, into a game or as someone who does not play."""

    place: Place
    field: str
    game: str | None
    unasked: Unasked | None = None
    """Only where the gate had no network."""


class Exit(Struct, frozen=True):
    """Off a field; without a field, off the park."""

    place: Place
    field: str | None
    game: str | None
    out: str = ""
    """The id of the event that said so, by which it can be withdrawn."""


class Presence(Struct, frozen=True):
    """A player's latest way in, and every way out that was told since. `part` is None for somebody the record does not know."""

    player: str
    part: Part | None = None
    entry: Entry | None = None
    exits: tuple[Exit, ...] = ()
    over: frozenset[str] = frozenset()
    """The games he was in that have ended or were abandoned: nobody is in them any more."""

    @property
    def seen(self) -> datetime | None:
        """When he last went through a gate, as far as that was told."""
        places = [one.place for one in self.exits] + ([self.entry.place] if self.entry else [])
        return max(places)[0] if places else None

    @property
    def on(self) -> Entry | None:
        """The field he is on, with the game and since when; None when he is on none."""
        entry = self.entry
        if entry is None or entry.game in self.over or any(_leaves(entry, one) for one in self.exits):
            return None
        return entry


def reasons(presence: Presence) -> list[Reason]:
    """Whether a player is recorded as being on a field: he cannot enter one then."""
    on = presence.on
    if on is None:
        return []
    where = f"It is {on.field}, game {on.game}." if on.game else f"It is {on.field}."
    return [reason("already_on_field", f"field:{on.field}", where)]


def seen_elsewhere(presence: Presence, field: str, since: Place) -> bool:
    """Whether a player who entered a field is known to have left the park, or to have entered another field, after that."""
    left = any(one.field is None and one.place > since for one in presence.exits)
    entry = presence.entry
    return left or (entry is not None and entry.field != field and entry.place > since)


def _leaves(entry: Entry, way_out: Exit) -> bool:
    """A late word of leaving an earlier game takes nobody out of the one he has entered since."""
    if way_out.place <= entry.place:
        return False
    if way_out.field is None:
        return True
    same_game = way_out.game is None or entry.game is None or way_out.game == entry.game
    return way_out.field == entry.field and same_game


def _registered(presence: Presence, event: Recorded[PlayerRegistered]) -> Presence:
    return replace(presence, part=event.data.part)


def _enters(presence: Presence, entry: Entry) -> Presence:
    if presence.entry is not None and entry.place < presence.entry.place:
        return presence
    return replace(presence, entry=entry, exits=tuple(one for one in presence.exits if one.place > entry.place))


def _started(presence: Presence, event: Recorded[GameStarted]) -> Presence:
    data = event.data
    if all(entrant.player != presence.player for entrant in data.entrants):
        return presence
    return _enters(presence, Entry((event.occurred_at, event.position), data.field, data.game))


def _admitted(presence: Presence, event: Recorded[PlayerAdmitted]) -> Presence:
    return _enters(presence, Entry((event.occurred_at, event.position), event.data.field, event.data.game))


def _recorded(presence: Presence, event: Recorded[EntryRecorded]) -> Presence:
    data = event.data
    unasked = Unasked(data.stale, data.reasons)
    return _enters(presence, Entry((event.occurred_at, event.position), data.field, data.game, unasked))


def _out(presence: Presence, event: Recorded[PlayerOut] | Recorded[PlayerFound]) -> Presence:
    gone = Exit((event.occurred_at, event.position), event.data.field, event.data.game, str(event.id))
    return replace(presence, exits=(*presence.exits, gone))


def _voided(presence: Presence, event: Recorded[OutVoided]) -> Presence:
    """He never went: he is where he was."""
    return replace(presence, exits=tuple(one for one in presence.exits if one.out != str(event.data.out)))


def _over(presence: Presence, event: Recorded[GameEnded] | Recorded[GameAbandoned]) -> Presence:
    return replace(presence, over=presence.over | {event.data.game})


def _left(presence: Presence, event: Recorded[PlayerLeft] | Recorded[MinorHandedOver]) -> Presence:
    return replace(presence, exits=(*presence.exits, Exit((event.occurred_at, event.position), None, None)))


_PRESENCE: dict[type[Data], Evolve[Presence]] = {
    PlayerRegistered: _registered,
    GameStarted: _started,
    PlayerAdmitted: _admitted,
    EntryRecorded: _recorded,
    PlayerOut: _out,
    OutVoided: _voided,
    PlayerFound: _out,
    GameEnded: _over,
    GameAbandoned: _over,
    PlayerLeft: _left,
    MinorHandedOver: _left,
}
PRESENCE: Fold[Presence] = Fold("clearance.presence", "player", Presence, _PRESENCE)
