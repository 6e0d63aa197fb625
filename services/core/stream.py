"""A stream: one life of a park's log as the bus holds it, and what can be wrong with it."""

import msgspec

BATCH = 500
"""Messages in one atomic publication, and in one delivery, at most."""


class BusUnavailable(Exception):  # noqa: N818 - a state of the world, not a mistake
    """The bus gave no usable answer: what was asked may or may not have happened."""


class WrongSequence(Exception):  # noqa: N818
    """The stream does not end where the publisher thought, so nothing was published."""


class LaterEpoch(Exception):  # noqa: N818
    """The bus holds a stream of a later epoch than the log's."""


class _Typed(msgspec.Struct):
    type: str


class Stream(msgspec.Struct, frozen=True):
    """One life of a park's log on the bus: sequence n holds the leaf at position n."""

    park: str
    epoch: int

    @property
    def name(self) -> str:
        return f"PARK_{self.park}_{self.epoch}"

    @property
    def subjects(self) -> str:
        return f"park.{self.park}.>"

    @property
    def retired_subjects(self) -> str:
        """Where an ended epoch's stream stands aside: no park's name holds an @, so nothing is published there."""
        return f"park.{self.park}@{self.epoch}.>"

    def subject(self, message: bytes) -> str:
        """`park.<park>.<service>.<event>`, from the type in the leaf's own bytes."""
        body = message.split(b"\n", 5)[5]
        return f"park.{self.park}.{msgspec.json.decode(body, type=_Typed).type}"


class End(msgspec.Struct, frozen=True):
    """Where a stream ends: the last position and its leaf, None when nothing is stored."""

    position: int
    leaf: bytes | None
