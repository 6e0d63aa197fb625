"""Calls for first aid that nobody has answered yet."""

from collections.abc import Iterable, Mapping
from typing import Final

from contracts.board import Alert
from services.board.at_hand import AtHand
from services.games.first_aid import CALLS

PLACES: Final = {"on_field": "on the field", "gate": "at the gate"}


def aid_alerts(at_hand: AtHand, titles: Mapping[str, str]) -> Iterable[Alert]:
    """The oldest call first."""
    for call in at_hand.given.of(CALLS, "").open:
        sentence = f"First aid to {titles.get(call.field, call.field)}, {PLACES[call.place]}. If it is grave, call the emergency services first."
        yield Alert(kind="first_aid_called", sentence=sentence, field=call.field, since=call.at)
