"""What is held against a player, and what an event changed about that, in words."""

from collections.abc import Iterable, Mapping

from msgspec import Struct

from services.audit.words.scene import count, listed
from services.core.command import Moment
from services.discipline.sit_outs import Stops, served
from services.discipline.standing import Standing, standing
from services.discipline.states import Entry, Record, Rotation
from services.incidents.states import Fitness


class Plight(Struct, frozen=True):
    """A player's standing, the cautions whose sit-out is served, and why he is unfit to play."""

    standing: Standing
    served: frozenset[str]
    unfit: tuple[str, ...]

    @property
    def clear(self) -> bool:
        """Whether no caution keeps him from playing."""
        now = self.standing
        return not (now.ejected or now.stood_down or now.sit_outs_owed)


def plight(record: Record, rotations: Mapping[str, Rotation], stops: Stops, fitness: Fitness, moment: Moment) -> Plight:
    return Plight(
        standing(record, rotations, moment, stops),
        served(record, rotations, moment.rules.games, moment.now, stops),
        fitness.causes,
    )


def difference(player: str, before: Plight, after: Plight) -> str:
    """What has changed for a player, in full sentences; empty where nothing has."""
    changes = [*_stood_down(before.standing, after.standing), *_ejection(before.standing, after.standing)]
    changes += [*_sit_outs(before, after), *_fitness(before, after)]
    if after.clear and not before.clear:
        changes.append("may play again as far as cautions go")
    return " ".join(f"Player {player} {change}." for change in changes)


def _stood_down(before: Standing, after: Standing) -> Iterable[str]:
    for caution in _new(before.awaiting_ruling, after.awaiting_ruling):
        yield f"is stood down until the head referee has ruled whether caution {caution} was for a separate act"
    for caution in _new(before.awaiting_confirmation, after.awaiting_confirmation):
        yield f"is stood down at once, awaiting the head referee's decision on caution {caution}"
    if before.stood_down and not after.stood_down and not after.ejected:
        yield "is no longer stood down"


def _new(before: Iterable[Entry], after: Iterable[Entry]) -> list[str]:
    known = {one.caution for one in before}
    return [one.caution for one in after if one.caution not in known]


def _ejection(before: Standing, after: Standing) -> Iterable[str]:
    if after.ejected and not before.ejected:
        yield "is ejected for the day, and the entry is forfeited"
    if before.ejected and not after.ejected:
        yield "is no longer ejected"


def _sit_outs(before: Plight, after: Plight) -> Iterable[str]:
    done = sorted(after.served - before.served)
    if done:
        yield f"has served the sit-out for {listed(done, 'caution')}"
    owed, then = after.standing.sit_outs_owed, 0 if before.standing.ejected else before.standing.sit_outs_owed
    if after.standing.ejected or owed == then:
        return
    if owed > then:
        yield f"owes {count(owed, 'full game')} of the rotation to sit out"
    elif owed:
        yield f"still owes {count(owed, 'full game')} to sit out"
    elif not done:
        yield "has no game to sit out any more"


def _fitness(before: Plight, after: Plight) -> Iterable[str]:
    if after.unfit and not before.unfit:
        yield "may not play until a first aider or a manager declares him fit"
    if before.unfit and not after.unfit:
        yield "is fit to play again"
