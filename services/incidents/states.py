"""Who is unfit to play, and why."""

from msgspec import Struct
from msgspec.structs import replace

from contracts.envelope import Data, Recorded
from contracts.games import PlayerOut
from contracts.incidents import InjuryRecorded, PlayerFit, PlayerUnfit
from contracts.registration import PlayerRegistered
from services.core.fold import Evolve, Fold


class Fitness(Struct, frozen=True):
    """Whether a player is fit to play: every cause that nobody has lifted yet."""

    player: str
    registered: bool = False
    person: str = ""
    causes: tuple[str, ...] = ()


def _registered(fitness: Fitness, event: Recorded[PlayerRegistered]) -> Fitness:
    return replace(fitness, registered=True, person=event.data.person)


def _unfit(fitness: Fitness, event: Recorded[PlayerUnfit]) -> Fitness:
    return _with(fitness, event.data.cause)


def _out(fitness: Fitness, event: Recorded[PlayerOut]) -> Fitness:
    """Whoever comes off a field injured plays again when a first aider has seen him."""
    return _with(fitness, "injured") if event.data.cause == "injured" else fitness


def _hurt(fitness: Fitness, _: Recorded[InjuryRecorded]) -> Fitness:
    """Whoever was hurt does not play on before somebody entitled has said that he may."""
    return _with(fitness, "injured")


def _with(fitness: Fitness, cause: str) -> Fitness:
    return replace(fitness, causes=tuple(sorted({*fitness.causes, cause})))


def _fit(fitness: Fitness, _: Recorded[PlayerFit]) -> Fitness:
    """Whoever declares him fit has seen all that was recorded by then, and nothing that comes in later, however old."""
    return replace(fitness, causes=())


_FITNESS: dict[type[Data], Evolve[Fitness]] = {
    PlayerRegistered: _registered,
    PlayerUnfit: _unfit,
    PlayerOut: _out,
    InjuryRecorded: _hurt,
    PlayerFit: _fit,
}
FITNESS: Fold[Fitness] = Fold("incidents.fitness", "player", Fitness, _FITNESS)
