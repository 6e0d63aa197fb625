"""A service, as the composition root sees it: a name, its command handlers, and its own routes for reading."""

from collections.abc import Sequence
from typing import Any

from litestar.handlers import HTTPRouteHandler
from msgspec import Struct

from services.core.command import Handler


class Service(Struct, frozen=True):
    name: str
    handlers: tuple[Handler[Any], ...] = ()
    routes: Sequence[HTTPRouteHandler] = ()
