"""What the reading routes share: parameters held against their types, and the moment of the question."""

from typing import Any

import msgspec

from contracts.problems import InvalidParameter
from services.core.command import Moment
from services.core.fold import Given
from services.core.park import Park
from services.core.plainly import plainly
from services.core.rules import RULES, operating_day


def moment_of(park: Park, given: Given, position: int) -> Moment:
    """Now, under the rules in force; the log had been read up to `position`."""
    rules, now = given.of(RULES, "").rules, park.clock.now()
    return Moment(now=now, occurred_at=now, day=operating_day(rules, now), rules=rules, position=position)


def fits(value: str, kind: Any, name: str) -> str:
    """A parameter as its type; raises InvalidParameter where it is missing or does not fit."""
    if not value:
        raise InvalidParameter(f"{name} is missing. Add it to the query: ?{name}=…", where=name)
    try:
        return str(msgspec.convert(value, kind))
    except msgspec.ValidationError as error:
        raise InvalidParameter(f"{name} does not fit: {plainly(error, kind)[0]}.", where=name) from None
