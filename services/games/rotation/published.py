"""What is remembered of a day's rotation: the plan that was published last, and the private sessions that were booked. By operating day, so both stay short."""

from datetime import datetime

from msgspec import Struct
from msgspec.structs import replace

from contracts.envelope import Recorded
from contracts.games import RotationPublished, SessionBooked, SessionCancelled
from services.core.fold import Fold

Place = tuple[datetime, int]


class Published(Struct, frozen=True):
    """The plan that was published last; of two the later one by when it was published."""

    day: str
    plan: RotationPublished | None = None
    place: Place | None = None


class Sessions(Struct, frozen=True):
    """The day's private sessions by name, cancelled ones left out, and the names that were ever given."""

    day: str
    booked: dict[str, SessionBooked] = {}
    named: frozenset[str] = frozenset()


def _published(before: Published, event: Recorded[RotationPublished]) -> Published:
    place = (event.occurred_at, event.position)
    if before.place is not None and place < before.place:
        return before
    return replace(before, plan=event.data, place=place)


def _booked(sessions: Sessions, event: Recorded[SessionBooked]) -> Sessions:
    name = event.data.session
    return replace(sessions, booked={**sessions.booked, name: event.data}, named=sessions.named | {name})


def _cancelled(sessions: Sessions, event: Recorded[SessionCancelled]) -> Sessions:
    left = {name: booked for name, booked in sessions.booked.items() if name != event.data.session}
    return replace(sessions, booked=left)


PUBLISHED: Fold[Published] = Fold("games.published", "plan", Published, {RotationPublished: _published})
SESSIONS: Fold[Sessions] = Fold(
    "games.sessions", "sessions", Sessions, {SessionBooked: _booked, SessionCancelled: _cancelled}
)
