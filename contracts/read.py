"""How one reading route is described: its path, who may ask, with which parameters, what it answers, and how it can refuse."""

from typing import Annotated, Any, Literal

import msgspec
from msgspec import Meta, Struct

from contracts.problems import (
    Broken,
    InvalidParameter,
    KeyRevoked,
    NotAllowed,
    NotAuthenticated,
    NotCaughtUp,
    NotFound,
    PositionAhead,
    Refused,
    TooManyTries,
    Unavailable,
)
from contracts.words import Role

JSON = "application/json"
EVENT_STREAM = "text/event-stream"
WATCHERS: frozenset[Role] = frozenset({"manager", "auditor", "integrator", "board"})
BEHIND_A_KEY: tuple[type[Refused], ...] = (
    InvalidParameter,
    NotAuthenticated,
    KeyRevoked,
    TooManyTries,
    NotAllowed,
    NotFound,
    Unavailable,
    Broken,
)
FROM_READ_TABLES: tuple[type[Refused], ...] = (*BEHIND_A_KEY, PositionAhead, NotCaughtUp)


class Parameter(Struct, frozen=True, kw_only=True):
    """One parameter of the query. `kind` is its type, with constraints."""

    name: str
    kind: Any
    description: str
    required: bool = False

    @property
    def several(self) -> bool:
        """Whether it may be given several times: its type is then a list."""
        return msgspec.json.schema(self.kind).get("type") == "array"


AT_LEAST = Parameter(
    name="at_least",
    kind=Annotated[str, Meta(pattern=r"^[0-9]{1,9}:[0-9]{1,18}$", examples=["1:4711"])],
    description="`<epoch>:<position>` of a receipt: the answer waits until it takes that write into account.",
)


class Read(Struct, frozen=True, kw_only=True):
    """One route that changes nothing; the vault's report leaves a trace of having been asked, and an instrument's lines are recorded. `roles` is None where no key is needed; `answer` is the type of its JSON, None where it is other text.

    A question too long for a query comes as the `body` of a POST.
    """

    path: str
    summary: str
    roles: frozenset[Role] | None
    method: Literal["get", "post"] = "get"
    body: Any = None
    takes: str = JSON
    """The media type of the body."""
    sent: Any = None
    """A body as it may be sent; made from the type where none is given."""
    keyed: bool = False
    """It records something, so it takes the headers of a write."""
    answer: Any = None
    media: str = JSON
    parameters: tuple[Parameter, ...] = ()
    problems: tuple[type[Refused], ...] = BEHIND_A_KEY
    status: int = 200
    also: tuple[int, ...] = ()
    """Other statuses that bear the same answer."""
    example: Any = None
    """An answer as it may be read; made from the type, or said to be what it is, where none is given."""

    @property
    def any_query(self) -> bool:
        """A page for anybody opens whatever its address bears: whoever passes a link on adds parameters of his own."""
        return self.roles is None and self.media == "text/html"

    @property
    def refusals(self) -> tuple[type[Refused], ...]:
        """How it can refuse. Every route does a header that is given twice, and all but a page a parameter that they do not take."""
        return (InvalidParameter, *self.problems)
