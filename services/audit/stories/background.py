"""What had been recorded by the time of each event of a story: rules, limits, and what was held against the players concerned."""

from collections.abc import Iterable
from datetime import datetime
from typing import Any

from contracts.envelope import Recorded
from contracts.equipment import MarkerRegistered
from contracts.games import FieldConfigured
from contracts.park import RulesAdopted
from contracts.rules import DEFAULT, Rules, Violation
from contracts.velocity import SetUpChanged
from contracts.words import Calibre, FiringMode
from services.audit.stories.plight import Plight, plight
from services.clearance.field import FIELD
from services.clearance.model import rotations_of
from services.core.command import Moment
from services.core.folds import Folds, States
from services.core.rules import operating_day
from services.discipline.states import RECORD, ROTATION
from services.incidents.states import FITNESS

_MEMORY = Folds("story", (RECORD, ROTATION, FITNESS, FIELD))


class Background:
    """Grows with the events that it is given, in the order of their positions."""

    def __init__(self) -> None:
        self.rules: Rules = DEFAULT
        """In force at this position."""
        self.fields: dict[str, FieldConfigured] = {}
        """Each field as it is set up at this position."""
        self.calibres: dict[str, Calibre] = {}
        """Of each marker that was entered by this position."""
        self.modes: dict[str, FiringMode] = {}
        """The firing mode that each is set to at this position."""
        self._adopted: list[tuple[datetime, Rules]] = []
        self._states: dict[str, States] = {}

    def take(self, event: Recorded[Any]) -> None:
        """One more event."""
        if isinstance(event.data, RulesAdopted):
            self.rules = event.data.rules
            self._adopted.append((event.recorded_at, self.rules))
        elif isinstance(event.data, FieldConfigured):
            self.fields[event.data.field] = event.data
        elif isinstance(event.data, MarkerRegistered):
            self.calibres[event.data.marker] = event.data.calibre
            self.modes[event.data.marker] = event.data.firing_mode
        elif isinstance(event.data, SetUpChanged) and event.data.firing_mode is not None:
            self.modes[event.data.marker] = event.data.firing_mode
        _MEMORY.apply((event,), self._states)

    def rules_at(self, moment: datetime) -> Rules:
        """The rules in force when something happened, as far as is recorded by this position."""
        return next((rules for since, rules in reversed(self._adopted) if since <= moment), DEFAULT)

    def violation(self, code: str, moment: datetime) -> tuple[Rules, Violation | None]:
        """An entry of the catalogue of when it happened, else of the one in force; and the rules that it stands in."""
        for rules in (self.rules_at(moment), self.rules):
            for one in rules.discipline.catalogue:
                if one.code == code:
                    return rules, one
        return self.rules, None

    def plight(self, player: str, now: datetime) -> Plight:
        """What is held against a player at this position and moment."""
        tags = [RECORD.tag(player)]
        record = _MEMORY.given(self._known(tags)).of(RECORD, player)
        tags += [ROTATION.tag(name) for name in record.rotation_ids]
        given = _MEMORY.given(self._known(tags))
        fields = {name for rotation in record.rotation_ids for name in given.of(ROTATION, rotation).continuous_fields}
        given = _MEMORY.given(self._known([*tags, *map(FIELD.tag, fields)]))
        rotations, stops = rotations_of(given, player)
        moment = Moment(now=now, occurred_at=now, day=operating_day(self.rules, now), rules=self.rules, position=0)
        return plight(record, rotations, stops, given.of(FITNESS, player), moment)

    def bears_on(self, player: str, event: Recorded[Any]) -> bool:
        """Whether an event may change what is held against a player."""
        return not self.subjects(player).isdisjoint(event.tags)

    def subjects(self, player: str) -> frozenset[str]:
        """The tags that what is held against a player rests on: himself, his rotations, the fields of their continuous games."""
        record = _MEMORY.given(self._known([RECORD.tag(player)])).of(RECORD, player)
        rotations = [ROTATION.tag(name) for name in record.rotation_ids]
        given = _MEMORY.given(self._known(rotations))
        fields = {name for one in record.rotation_ids for name in given.of(ROTATION, one).continuous_fields}
        return frozenset({RECORD.tag(player), *rotations, *map(FIELD.tag, fields)})

    def _known(self, tags: Iterable[str]) -> dict[str, States]:
        return {tag: self._states[tag] for tag in tags if tag in self._states}
