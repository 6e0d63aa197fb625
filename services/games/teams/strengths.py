"""What each player brings to a team, and what two teams then come to.

Years of age, first visit or not, own marker or hired, and the day's results are balanced each by itself: a team of strong children does not make up for
one of weak adults. What a difference weighs is a rule of the park, in points: hundredths of the standard deviation of skill over players.
"""

from collections.abc import Iterable, Mapping
from math import floor, sqrt
from statistics import NormalDist
from typing import Final

from msgspec import Struct

from contracts.balance import Attribute, TeamSum, Weighed
from contracts.rules import TeamRules
from contracts.words import Colour
from services.core.fold import Given, Subject
from services.equipment.kit import KIT
from services.equipment.states import MARKER
from services.games.teams.results import RESULTS, skill
from services.registration.persons import PERSON
from services.registration.states import PLAYER

BALANCED: Final[tuple[Attribute, ...]] = ("years", "first_timers", "own_markers", "results")


class Strength(Struct, frozen=True):
    """One player's share in each attribute. `played`: his games of the day so far."""

    years: int = 0
    first_timer: bool = False
    own_marker: bool = False
    result: int = 0
    played: int = 0

    @property
    def values(self) -> tuple[int, ...]:
        """In the order of `BALANCED`."""
        return (self.years, int(self.first_timer), int(self.own_marker), self.result)


def subjects(players: Iterable[str], given: Given) -> set[Subject]:
    """What to read to know what each player brings."""
    wanted: set[Subject] = set()
    for player in players:
        wanted |= {(PLAYER, player), (KIT, player), (RESULTS, player)}
        person = given.of(PLAYER, player).person
        wanted |= {(PERSON, person)} if person else set()
        wanted |= {(MARKER, name) for name in given.of(KIT, player).markers}
    return wanted


def strength(given: Given, player: str) -> Strength:
    """As the record has it. Whoever was here on another day is no first-timer."""
    who, results = given.of(PLAYER, player), given.of(RESULTS, player)
    person = given.of(PERSON, who.person)
    markers = (given.of(MARKER, name) for name in given.of(KIT, player).markers)
    return Strength(
        years=who.age_band,
        first_timer=set(person.players.values()) <= {player},
        own_marker=any(marker.owner is not None for marker in markers),
        result=skill(results.decided),
        played=results.played,
    )


def weights(rules: TeamRules) -> tuple[int, ...]:
    """Points for each unit of difference, in the order of `BALANCED`."""
    return (rules.year_points, rules.first_timer_points, rules.own_marker_points, rules.result_points)


def near_enough(players: int, chance: float) -> int:
    """Points between teams of so many players in all, up to which the stronger one wins at most with this chance: Φ(lead/√(2N)), skill and form spreading alike."""
    return floor(100 * sqrt(2 * players) * NormalDist().inv_cdf(chance))


def weighed(
    teams: Mapping[str, Colour], colours: tuple[Colour, Colour], known: Mapping[str, Strength], rules: TeamRules
) -> tuple[Weighed, ...]:
    """Every attribute with both teams' sums; who wears a third colour is in neither."""
    rows: dict[Attribute, tuple[int, list[tuple[int, ...]]]] = {
        "players": (0, [tuple(1 for _ in _of(teams, colour)) for colour in colours])
    }
    for index, (name, points) in enumerate(zip(BALANCED, weights(rules), strict=True)):
        rows[name] = (points, [tuple(known[one].values[index] for one in _of(teams, colour)) for colour in colours])
    return tuple(
        _row(name, colours, points, (sum(first), sum(second))) for name, (points, (first, second)) in rows.items()
    )


def _of(teams: Mapping[str, Colour], colour: Colour) -> list[str]:
    return [player for player, worn in teams.items() if worn == colour]


def _row(name: Attribute, colours: tuple[Colour, Colour], points: int, sums: tuple[int, int]) -> Weighed:
    difference = abs(sums[0] - sums[1])
    first, second = (TeamSum(colour=colour, total=total) for colour, total in zip(colours, sums, strict=True))
    return Weighed(attribute=name, sums=(first, second), difference=difference, points=points * difference)
