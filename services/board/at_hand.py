"""What a status is made of: the states at hand, today's people, and what was found of each of them."""

from collections.abc import Mapping
from typing import Literal, cast

from msgspec import Struct

from contracts.board import Armband
from contracts.envelope import Reason
from contracts.reasons import reason
from contracts.words import Colour
from services.board.notes import Arrival
from services.clearance.field import FIELD, FIELDS
from services.clearance.field import Field as FieldStory
from services.clearance.presence import PRESENCE
from services.core.command import Moment
from services.core.fold import Given
from services.registration.states import PLAYER

Whereabouts = Literal["cleared", "not_cleared", "on_field", "gone_home"]


class Verdict(Struct, frozen=True):
    """What was found of a player when he was judged last: for which field, and every reason why he is not cleared for it."""

    field: str | None
    reasons: tuple[Reason, ...]
    whereabouts: Whereabouts = "not_cleared"
    minor: bool = False
    station: str | None = None
    """Where he queues: his first missing thing is cleared there."""


class AtHand(Struct, frozen=True):
    """`verdicts` is kept by whoever keeps the states, so that only players whom a change touches are judged anew."""

    given: Given
    arrivals: Mapping[str, Arrival]
    verdicts: Mapping[str, Verdict]
    moment: Moment

    def still(self) -> "AtHand":
        """The same, for whoever works with it beside the loop: what the board takes in meanwhile does not change it."""
        return AtHand(self.given.copy(), dict(self.arrivals), dict(self.verdicts), self.moment)

    @property
    def fields(self) -> list[FieldStory]:
        """Every field of the park, in order of title."""
        found = [self.given.of(FIELD, name) for name in self.given.of(FIELDS, "").names]
        return sorted(found, key=lambda field: (field.configured.title if field.configured else "", field.field))

    def verdict(self, player: str) -> Verdict:
        """What was found of a player; somebody who did not come today is not cleared."""
        return self.verdicts.get(player) or Verdict(None, (reason("unknown_player"),))

    def field_of(self, player: str) -> str | None:
        """The field that a player is on, as far as anybody recorded it."""
        on = self.given.of(PRESENCE, player).on
        return on.field if on else None

    def armband(self, player: str, colour: str | None = None) -> Armband:
        return Armband(number=self.given.of(PLAYER, player).armband, colour=cast("Colour | None", colour))
