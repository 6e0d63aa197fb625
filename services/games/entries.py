"""Whom a gate let in while it had no network: a fact, held against the record once it is told.

What the gate knew is as old as its last sync, and the record may have gone on meanwhile: he may have been ejected since. So the entry is
recorded whatever it was, he counts as on the field, and what stands against it goes with it, for a person to act on. A gate that has
been cut off for longer than the rules allow clears nobody.
"""

from collections.abc import Iterable
from datetime import timedelta

from contracts.envelope import Data
from contracts.games import EntryRecorded, Knowledge, RecordEntry
from services.core.command import Moment
from services.core.fold import Given
from services.games.admission import against
from services.games.model import known_field, known_game, known_player, must_be_on


def record_entry(command: RecordEntry, given: Given, moment: Moment) -> Iterable[Data]:
    """Where no game is named, it is the one that runs on the field when this is told, if it ran by then."""
    part = known_player(given, command.player)
    field, _ = known_field(given, command.field)
    if command.game is not None:
        must_be_on(known_game(given, command.game)[1], command.field)
    game = command.game or _ran(field.running, given, moment)
    age = moment.occurred_at - command.knew.as_of
    return [
        EntryRecorded(
            basis=moment.basis,
            player=command.player,
            part=part,
            field=command.field,
            game=game,
            colour=command.colour,
            knew=command.knew,
            answer=command.answer,
            age_minutes=round(age / timedelta(minutes=1), 2),
            stale=is_stale(command.knew, age, moment),
            reasons=tuple(against(command, given, moment, game, plays=part == "player")),
        )
    ]


def _ran(running: str | None, given: Given, moment: Moment) -> str | None:
    started = known_game(given, running)[0].started if running else None
    return running if started is not None and started <= moment.occurred_at else None


def is_stale(knew: Knowledge, age: timedelta, moment: Moment) -> bool:
    """Whether knowledge of this age clears nobody any more. What is of the future, or of a position that the log has not come to, is none of this log's."""
    rules = moment.rules
    ahead = age < -timedelta(minutes=rules.clock_tolerance_minutes)
    return age > timedelta(minutes=rules.offline.minutes) or ahead or knew.position > moment.position
