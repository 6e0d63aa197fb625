"""What reading routes share: parameters that fit, and waiting for a position that a write was answered with."""

from typing import Any

import msgspec
from litestar import Request

from contracts.problems import InvalidParameter, NotCaughtUp, PositionAhead
from services.core.park import Park
from services.core.plainly import plainly
from services.core.projector import Projector

PATIENCE = 2.0
"""Seconds that a read waits for its position before it is told to come again."""


def fits(value: str, kind: Any, name: str) -> str:
    """A parameter of a path or a query; raises InvalidParameter where it is not of its kind."""
    try:
        return str(msgspec.convert(value, kind))
    except msgspec.ValidationError as error:
        raise InvalidParameter(f"{name} does not fit: {plainly(error, kind)[0]}.", where=name) from None


async def at_least(request: Request[Any, Any, Any], park: Park, name: str) -> None:
    """Wait until projection `name` has reached the query's `at_least=<epoch>:<position>`, if it asks for one.

    Raises PositionAhead when the log has no such position, NotCaughtUp when it takes too long.
    """
    asked = request.query_params.get("at_least")
    if asked is None:
        return
    epoch, position = _parsed(asked)
    head = await park.log.head()
    if epoch != head.epoch or position > head.position:
        raise PositionAhead(
            f"at_least={asked}, but the log stands at {head.epoch}:{head.position}. "
            "Send the epoch and position of a receipt; after a restore, send again what you kept.",
            where="at_least",
        )
    projector: Projector = request.app.state.projectors[park.park]
    try:
        await projector.reached(position, PATIENCE, name)
    except TimeoutError:
        raise NotCaughtUp(
            f"The read tables stand at {projector.position(name)}, not yet at {position}. Ask again shortly."
        ) from None


def _parsed(asked: str) -> tuple[int, int]:
    epoch, colon, position = asked.partition(":")
    if (
        not colon
        or not (epoch.isascii() and epoch.isdigit() and position.isascii() and position.isdigit())
        or len(asked) > 30
    ):
        raise InvalidParameter(f"at_least={asked[:40]} is not <epoch>:<position>, such as 1:4711.", where="at_least")
    return int(epoch), int(position)
