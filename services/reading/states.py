"""Which webhooks are open."""

from datetime import datetime
from uuid import UUID

from msgspec import Struct
from msgspec.structs import replace

from contracts.envelope import Recorded
from contracts.reading import WebhookClosed, WebhookOpened
from services.core.fold import Fold
from services.reading.wanted import Wanted


class Opening(Struct, frozen=True):
    """A webhook that is open, by the event that opened it."""

    id: UUID
    webhook: str
    host: str
    wanted: Wanted
    begins: int
    """What lies behind this position is sent."""
    opened_at: datetime


class Openings(Struct, frozen=True):
    open: dict[str, Opening] = {}


def _opened(state: Openings, event: Recorded[WebhookOpened]) -> Openings:
    data = event.data
    begins = event.position if data.after is None else data.after
    wanted = Wanted(frozenset(data.types), frozenset(data.tags))
    one = Opening(event.id, data.webhook, data.host, wanted, begins, event.recorded_at)
    return replace(state, open=state.open | {data.webhook: one})


def _closed(state: Openings, event: Recorded[WebhookClosed]) -> Openings:
    return replace(state, open={name: one for name, one in state.open.items() if name != event.data.webhook})


OPENINGS: Fold[Openings] = Fold(
    "webhooks", "webhooks", lambda _: Openings(), {WebhookOpened: _opened, WebhookClosed: _closed}
)
