"""The whole story of one subject, told from what the log holds about it: pure, so that a test or a case file can tell it too."""

from collections.abc import Iterable, Sequence
from datetime import date
from typing import Any, Final, Literal, cast
from zoneinfo import ZoneInfo

from msgspec import Struct
from msgspec.structs import replace

from contracts.discipline import CautionRecorded, CautionResolved
from contracts.envelope import Clock, Data, Recorded
from contracts.leaf import leaf_hash
from contracts.registration import (
    AgeBandRenewed,
    BanLifted,
    ConsentGiven,
    ConsentWithdrawn,
    PersonBanned,
    PersonRegistered,
    PlayerRegistered,
    WaiverSigned,
    WithdrawalVoided,
)
from contracts.story import Story, Told
from services.audit.stories.aftermath import Consequences
from services.audit.stories.lateness import lateness
from services.audit.stories.outcome import decided
from services.audit.stories.rulebook import rule
from services.audit.stories.withdrawals import Withdrawals
from services.audit.words.scene import Scene
from services.audit.words.telling import sentence
from services.core.log import Row
from services.core.recent import recent

PAPERS: Final = (
    PersonRegistered, AgeBandRenewed, WaiverSigned, ConsentGiven, ConsentWithdrawn, WithdrawalVoided, PersonBanned, BanLifted,
)  # fmt: skip
"""What a player's story takes over from his story as a human being: of that day and before."""


class Span(Struct, frozen=True, kw_only=True):
    """Which part of a story is told: at most `limit` events after a position, as the log stood at `until`, in which order."""

    order: Literal["recorded", "happened"] = "recorded"
    after: int = 0
    until: int | None = None
    limit: int | None = None


ALL: Final = Span()


def tell(park: str, tag: str, rows: Sequence[Row], span: Span = ALL) -> Story:
    """The story of a tag.

    `rows`, in the order of their positions, hold every event of the tag in the span, and what the telling rests on, which
    `sources.rows_of` reads; more of them do no harm, so the whole log tells the same story. A player's story has besides the events
    that bear his tag his papers, the cautions that proved to be about him, and the games that served his sit-outs.
    Positions cut a part out of a story; `order="happened"` sorts that part by when things happened.
    """
    until = span.until if span.until is not None else max((row.position for row in rows), default=0)
    known = [(row, recent(row.leaf)) for row in rows if row.position <= until]
    belongs = _Belonging(tag, [event for _, event in known])
    withdrawals = Withdrawals(event for _, event in known)
    player = Scene(about=tag).player
    following = Consequences(player)
    told: list[Told] = []
    for row, event in known:
        followed = following.take(event)
        if event.position > span.after and (event in belongs or (player and followed.for_player)):
            told.append(_told(row, event, tag, following, followed.words, withdrawals.of(event)))
    part = told if span.limit is None else told[: span.limit]
    if span.order == "happened":
        part = sorted(part, key=lambda one: (one.occurred_at, one.position))
    return Story(
        park=park,
        subject=tag,
        time_zone=following.background.rules.time_zone,
        order=span.order,
        epoch=known[-1][1].epoch if known else 1,
        position=until,
        more=len(part) < len(told),
        events=tuple(part),
    )


def _told(  # noqa: PLR0913, PLR0917 - an event and all that is told beside it
    row: Row, event: Recorded[Any], tag: str, following: Consequences, followed: str, corrected_by: tuple[int, ...]
) -> Told:
    rules = following.background.rules
    scene = Scene(about=tag, rules=rules)
    return Told(
        epoch=event.epoch,
        position=event.position,
        id=str(event.id),
        type=event.type,
        occurred_at=event.occurred_at,
        recorded_at=event.recorded_at,
        claimed_at=event.claimed_at,
        local_time=event.occurred_at.astimezone(ZoneInfo(rules.time_zone)).isoformat(" ", "seconds"),
        late_seconds=(event.recorded_at - event.occurred_at).total_seconds(),
        lateness=lateness(event, scene),
        clock=cast("Clock", event.clock),
        device=event.device,
        device_seq=event.device_seq,
        actor=event.actor,
        sentence=sentence(event.data, scene),
        rule=rule(event, following.background),
        consequence=followed,
        decision=decided(event.data, scene),
        corrected_by=corrected_by,
        leaf_sha256=leaf_hash(row.leaf).hex(),
        data=own_part(event.data, scene.player),
    )


def own_part(data: Data, player: str | None) -> Data:
    """An event's data; in a player's own story, of a list with a line for each player, only his."""
    if player is None:
        return data
    lists = {name: _own(getattr(data, name), player) for name in data.__struct_fields__}
    return replace(data, **{name: own for name, own in lists.items() if own is not None})


def _own(value: object, player: str) -> tuple[Any, ...] | None:
    if not isinstance(value, tuple) or not all(isinstance(one, Struct) and hasattr(one, "player") for one in value):
        return None
    return tuple(one for one in value if one.player == player)


class _Belonging:
    """Which events belong to a story."""

    def __init__(self, tag: str, events: Iterable[Recorded[Any]]) -> None:
        self._tag = tag
        self._cautions: set[str] = set()
        self._person: str | None = None
        self._day: date | None = None
        player = Scene(about=tag).player
        for data, day in ((event.data, event.day) for event in events if player and tag in event.tags):
            if isinstance(data, CautionResolved):
                self._cautions.add(data.caution)
            elif isinstance(data, PlayerRegistered):
                self._person, self._day = data.person, day

    def __contains__(self, event: Recorded[Any]) -> bool:
        data = event.data
        if self._tag in event.tags:
            return True
        if isinstance(data, CautionRecorded):
            return data.player is None and data.caution in self._cautions
        return (
            isinstance(data, PAPERS)
            and data.person == self._person
            and self._day is not None
            and event.day <= self._day
        )
