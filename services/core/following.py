"""Following something that a screen shows: whoever has the newest answer waits until there is a newer one, or for some seconds."""

import asyncio
from collections.abc import AsyncIterator, Awaitable, Callable, Iterable
from contextlib import asynccontextmanager, suppress
from typing import Any, Final, Protocol, TypeVar

from litestar import Litestar, Request

from contracts.problems import PositionAhead
from services.core.bell import Bell
from services.core.heads import patience
from services.core.identity import identified
from services.core.park import Park

PATIENCE: Final = 10.0
"""Seconds that whoever asks for something newer is kept waiting before he hears that there is nothing."""


class Placed(Protocol):
    """An answer as of a position of the log."""

    @property
    def epoch(self) -> int: ...
    @property
    def position(self) -> int: ...


V = TypeVar("V", bound=Placed)
View = Callable[[], Awaitable[tuple[V, Iterable[str]]]]
"""Makes an answer, with the tags of all that it is made of."""


async def newest(request: Request[Any, Any, Any], park: Park, after: str | None, view: View[V]) -> V:
    """The answer now; where `after` is its epoch and position, the one once there is something newer. Raises PositionAhead, and KeyRevoked where that happened while he waited."""
    shown, made_of = await view()
    if after is None or not _is_at_hand(shown, after):
        return shown
    tags, position = list(made_of), int(after.partition(":")[2])
    bell: Bell = request.app.state.bells[park.park]
    with bell.listening(tags, position) as rung:
        reading = await park.log.read(dict.fromkeys(tags, position))
        if not any(reading.events.values()):
            with suppress(TimeoutError):
                async with asyncio.timeout(patience(request, PATIENCE)):
                    await rung.wait()
    shown, _ = await view()
    await identified(request, park.park, backlog=False)
    return shown


def _is_at_hand(shown: Placed, after: str) -> bool:
    """Whether an answer of this epoch is at hand, so that only what is newer is wanted; raises PositionAhead for one that cannot be."""
    epoch, position = (int(part) for part in after.split(":"))
    if epoch == shown.epoch and position > shown.position:
        raise PositionAhead(
            f"after={after}, but the log stands at {shown.epoch}:{shown.position}. Send the epoch and position of an answer, or leave it out.",
            where="after",
        )
    return epoch == shown.epoch


@asynccontextmanager
async def bells(app: Litestar) -> AsyncIterator[None]:
    """A bell for every park, rung by its projector; one for all services that ask for it."""
    if not hasattr(app.state, "bells"):
        app.state.bells = {name: Bell() for name in app.state.parks}
        for name, bell in app.state.bells.items():
            app.state.projectors[name].hear(bell.hear)
            app.state.leaving.append(bell.close)
    yield
