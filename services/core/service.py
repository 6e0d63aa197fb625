"""A service, as the composition root sees it: a name, its command handlers, its own routes for reading, and what it does meanwhile."""

from collections.abc import Callable, Sequence
from contextlib import AbstractAsyncContextManager
from typing import Any

from litestar import Litestar
from litestar.handlers import HTTPRouteHandler
from msgspec import Struct

from services.core.command import Handler


class Service(Struct, frozen=True):
    name: str
    handlers: tuple[Handler[Any], ...] = ()
    routes: Sequence[HTTPRouteHandler] = ()
    lifespans: tuple[Callable[[Litestar], AbstractAsyncContextManager[None]], ...] = ()
    """Work of its own, from when the application starts until it stops."""
    told_late: tuple[Handler[Any], ...] = ()
    """Of facts that have a route of their own when sent alone: what records them when they come in a batch."""
