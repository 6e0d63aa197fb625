"""The dossier of a case: the events of its subject, and those that its decisions rested on, each once."""

from collections.abc import Awaitable, Callable, Iterable
from typing import Any
from uuid import UUID

from msgspec import Struct

from contracts import leaf
from contracts.duty import CheckDone, DutyEnded, DutyRefused, DutyStarted, StaffRegistered
from contracts.envelope import Data, Recorded
from contracts.equipment import (
    BottleRegistered,
    BottleRequalified,
    GearQuarantined,
    GearReleased,
    MarkerRegistered,
    MaskRegistered,
)
from contracts.games import (
    FieldConfigured,
    FieldInspected,
    FirstAidAnswered,
    FirstAidCalled,
    GameAbandoned,
    GameBriefed,
    GameCalled,
    GameEnded,
    GameStarted,
    HeadsCounted,
    HoldAsked,
    HoldConfirmed,
    HoldLifted,
    OutVoided,
    PlayerFound,
)
from contracts.incidents import (
    CustodyPassed,
    CustodyTaken,
    EntryWithdrawn,
    HelpArrived,
    HelpCalled,
    IncidentClosed,
    IncidentRecorded,
    InjuryRecorded,
    NotificationRecorded,
    OutcomeRecorded,
    SceneRecorded,
    TreatmentGiven,
    WitnessNamed,
)
from contracts.park import DayClosed, DayOpened, FlashSeen, RulesAdopted, ThunderHeard, WeatherRecorded
from contracts.problems import UnknownSubject
from contracts.registration import PlayerRegistered
from contracts.rules import DEFAULT, Rules
from contracts.story import Story
from contracts.velocity import MarkerSpotChecked, MarkerTested, SetUpChanged
from services.audit.cases.owning import concerned, gear_of, own_of
from services.audit.cases.redaction import Own
from services.audit.cases.shelf import Shelf
from services.audit.cases.sides import sides
from services.core.log import Row

Tell = Callable[[str, int], Awaitable[Story]]
"""Tells the story of a tag, after a position."""
MOST = 2_000
"""A marker's or a field's life is long: its case is about so many of its latest events."""
NEAR = 400
"""So many events of a field, of the park or of a piece of gear are looked through on either side of a moment."""
OF_GEAR = (
    MarkerRegistered, MaskRegistered, BottleRegistered, BottleRequalified, MarkerTested, SetUpChanged,
    MarkerSpotChecked, GearQuarantined, GearReleased,
)  # fmt: skip
OF_FIELD = (
    FieldConfigured, FieldInspected, DutyStarted, DutyRefused, DutyEnded, HoldAsked, HoldConfirmed, HoldLifted,
    IncidentRecorded, FirstAidCalled, FirstAidAnswered,
)  # fmt: skip
OF_INCIDENT = (SceneRecorded, HelpCalled, HelpArrived, WitnessNamed, NotificationRecorded, IncidentClosed)
OF_CASUALTY = (InjuryRecorded, TreatmentGiven, OutcomeRecorded)
OF_EVIDENCE = (CustodyTaken, CustodyPassed)
OF_GAME = (GameCalled, GameBriefed, GameStarted, GameEnded, GameAbandoned, HeadsCounted, PlayerFound)
OF_PARK = (
    DayOpened, DayClosed, WeatherRecorded, ThunderHeard, FlashSeen, DutyStarted, DutyRefused, DutyEnded, HoldAsked,
)  # fmt: skip


class Found(Struct, frozen=True):
    """An event with the bytes of its leaf."""

    recorded: Recorded[Any]
    leaf: bytes


class Case(Struct, frozen=True, kw_only=True):
    """Everything that one case rests on. `events` are in the order of their positions."""

    park: str
    kind: str
    subject: str
    own: Own
    players: tuple[str, ...]
    """The players whom it is about."""
    events: tuple[Found, ...]
    rules: tuple[Rules, ...]
    """The versions in force in it, the earliest first."""
    cut: bool = False
    """Whether the subject has more events, earlier than these."""

    @property
    def tag(self) -> str:
        return tag_of(self.kind, self.subject)

    def of(self, *kinds: type[Data]) -> list[Recorded[Any]]:
        """Its events of some kinds, in order."""
        return [one.recorded for one in self.events if isinstance(one.recorded.data, kinds)]

    @property
    def withdrawn(self) -> frozenset[UUID]:
        """The entries of incidents' records that were withdrawn, and the outs that were recorded by mistake."""
        outs = (one.data.out for one in self.of(OutVoided))
        return frozenset((*(one.data.entry for one in self.of(EntryWithdrawn)), *outs))

    def standing(self, *kinds: type[Data]) -> list[Recorded[Any]]:
        """As `of`, without what was withdrawn as never so."""
        withdrawn = self.withdrawn
        return [one for one in self.of(*kinds) if one.id not in withdrawn]

    def incidents(self) -> list[Recorded[IncidentRecorded]]:
        """The incidents that it is about, not those that lie near by."""
        return [
            one
            for one in self.of(IncidentRecorded)
            if self.tag in one.tags or set(one.data.players) & set(self.players)
        ]


async def gather(shelf: Shelf, tell: Tell, park: str, kind: str, subject: str) -> tuple[Case, tuple[Story, ...]]:
    """The case of a subject, and its stories: its own, and for a case about players each one's too.

    Of a subject with a long life it is the last `MOST` events. Raises UnknownSubject when the record holds nothing of it.
    """
    gathering = _Gathering(shelf)
    tag = tag_of(kind, subject)
    its = await gathering.take(await shelf.newest(tag, limit=MOST))
    if not its:
        raise UnknownSubject(
            f"The record knows no {tag.replace(':', ' ', 1)}. Check the spelling, or find the player by pass or armband first.",
            where=tag,
        )
    players = concerned(kind, subject, [one.recorded.data for one in standing(its)])
    tags = dict.fromkeys([tag, *(f"player:{player}" for player in players)])
    cut = len(its) == MOST
    since = its[0].recorded.position - 1 if cut else 0
    stories = tuple([await tell(one, since if one == tag else 0) for one in tags])
    for player in players:
        await gathering.player(player)
    told = {one.position for story in stories for one in story.events}
    await gathering.take(await shelf.at(sorted(told - gathering.found.keys())))
    for found in gathering.events():
        if isinstance(found.recorded.data, IncidentRecorded):
            await gathering.incident(found.recorded, players)
    rules = await gathering.rules()
    events = gathering.events()
    own = own_of(tag, players, [one.recorded.data for one in events])
    case = Case(
        park=park,
        kind=kind,
        subject=subject,
        own=own,
        players=players,
        events=events,
        rules=rules,
        cut=cut,
    )
    return case, stories


def standing(events: Iterable[Found]) -> list[Found]:
    """Of these events those that no entry's withdrawal among them withdraws: whoever was named by mistake is none whom a case is about."""
    every = list(events)
    gone = {one.recorded.data.entry for one in every if isinstance(one.recorded.data, EntryWithdrawn)}
    return [one for one in every if one.recorded.id not in gone]


def tag_of(kind: str, subject: str) -> str:
    return f"{kind}:{subject}" if subject else kind


class _Gathering:
    def __init__(self, shelf: Shelf) -> None:
        self._shelf = shelf
        self.found: dict[int, Found] = {}

    def events(self) -> tuple[Found, ...]:
        return tuple(self.found[position] for position in sorted(self.found))

    async def take(self, rows: Iterable[Row], fits: Callable[[Recorded[Any]], bool] = lambda _: True) -> list[Found]:
        """Keep the rows that fit; answers them."""
        read = [Found(leaf.decode(row.leaf), row.leaf) for row in rows]
        kept = [one for one in read if fits(one.recorded)]
        self.found |= {one.recorded.position: one for one in kept}
        return kept

    async def player(self, player: str) -> None:
        """His own events, himself as a person, cautions that named him by colour and number, and the tests of his gear."""
        his = await self.take(await self._shelf.newest(f"player:{player}"))
        last = his[-1].recorded.position if his else 0
        for one in his:
            if isinstance(one.recorded.data, PlayerRegistered) and one.recorded.data.player == player:
                person = one.recorded.data.person
                rows = await self._shelf.newest(f"person:{person}")
                await self.take(rows, lambda event, person=person: getattr(event.data, "person", None) == person)  # type: ignore[misc]
        for tag in _tags(his, "caution", player):
            await self.take(await self._shelf.newest(tag))
        for prefix, name in dict.fromkeys(pair for one in his for pair in gear_of(one.recorded.data, (player,))):
            await self.gear(prefix, name, his, last)

    async def gear(self, prefix: str, name: str, his: list[Found], last: int) -> None:
        """What was measured and found on a piece of gear while he had it; of what came before, from its last test on."""
        tag = f"{prefix}:{name}"
        first = min(one.recorded.position for one in his if tag in one.recorded.tags)
        rows = await self._shelf.newest(tag, last, NEAR)
        events = [leaf.decode(row.leaf) for row in rows]
        tests = [one.position for one in events if isinstance(one.data, MarkerTested) and one.position < first]
        since = max(tests, default=first)
        await self.take(
            rows,
            lambda event: (
                isinstance(event.data, OF_GEAR)
                and (event.position >= since or isinstance(event.data, MarkerRegistered | MaskRegistered))
            ),
        )

    async def incident(self, incident: Recorded[IncidentRecorded], players: tuple[str, ...]) -> None:
        """What insurers and lawyers ask for: the field, its staff and game, the weather, the chronographs, incidents like it.

        Where it concerns others besides the case's players, which of its gear was theirs is not known: what was his was taken before.
        """
        data = incident.data
        rows = await self._shelf.newest(f"incident:{data.incident}")
        his = {pair for one in self.events() for pair in gear_of(one.recorded.data, players)}
        await self.take(rows, lambda one: _belongs(one.data, players, his))
        named = (("marker", data.markers), ("mask", data.masks)) if set(data.players) <= set(players) else ()
        if data.field is not None:
            await self._near(f"field:{data.field}", incident, OF_FIELD)
        if data.game is not None:
            await self.take(await self._shelf.newest(f"game:{data.game}"), lambda one: isinstance(one.data, OF_GAME))
        await self._near("park", incident, OF_PARK)
        await self.take(
            await self._shelf.newest(f"checks:{incident.day}"),
            lambda one: isinstance(one.data, CheckDone) and one.data.field in {None, data.field},
        )
        for prefix, names in named:
            for name in names:
                await self._near(f"{prefix}:{name}", incident, OF_GEAR)
        for test in [one.recorded for one in self.events() if isinstance(one.recorded.data, MarkerTested)]:
            await self._checks(test)
        staff = {one.recorded.data.staff for one in self.events() if isinstance(one.recorded.data, DutyStarted)}
        for name in sorted(staff):
            await self._qualification(name, incident.position)

    async def _near(self, tag: str, incident: Recorded[Any], kinds: tuple[type[Data], ...]) -> None:
        """The events of a tag on the incident's own day."""
        before = await self._shelf.newest(tag, incident.position, NEAR)
        after = await self._shelf.next(tag, incident.position, NEAR)
        await self.take([*before, *after], lambda one: one.day == incident.day and isinstance(one.data, kinds))

    async def _checks(self, test: Recorded[MarkerTested]) -> None:
        """The chronograph's last check before a test, the first one after it, and the work on it between them."""
        rows = [
            row
            for tag in ("chronos", f"chrono:{test.data.chrono}")
            for row in (
                *await self._shelf.newest(tag, test.position, NEAR),
                *await self._shelf.next(tag, test.position, NEAR),
            )
        ]
        near = {row.position: Found(leaf.decode(row.leaf), row.leaf) for row in rows}
        self.found |= {
            one.position: near[one.position] for one in sides(test, (one.recorded for one in near.values())).all
        }

    async def _qualification(self, staff: str, upto: int) -> None:
        rows = await self._shelf.newest(f"staff:{staff}", upto, NEAR)
        registered = [row for row in rows if isinstance(leaf.decode(row.leaf).data, StaffRegistered)]
        await self.take(registered[-1:])

    async def rules(self) -> tuple[Rules, ...]:
        """Every version in force between the first and the last of these events, by when each happened or was recorded."""
        events = [one.recorded for one in self.events()]
        first, begun = min(one.position for one in events), min(one.occurred_at for one in events)
        last = max(one.position for one in events)
        adopted = [Found(leaf.decode(row.leaf), row.leaf) for row in await self._shelf.newest("rules", last)]
        adopted = [one for one in adopted if isinstance(one.recorded.data, RulesAdopted)]
        early = [one for one in adopted if one.recorded.position < first and one.recorded.recorded_at <= begun]
        chosen = [*early[-1:], *adopted[len(early) :]]
        self.found |= {one.recorded.position: one for one in chosen}
        versions = {one.recorded.data.rules.version: one.recorded.data.rules for one in chosen}
        return tuple(versions.values()) if early else (DEFAULT, *versions.values())


def _belongs(data: Data, players: tuple[str, ...], gear: set[tuple[str, str]]) -> bool:
    """Whether what was told of an incident belongs to a case of these players: what is about none, themselves, and their gear."""
    if isinstance(data, OF_CASUALTY):
        return data.player in players
    if isinstance(data, EntryWithdrawn):
        named = {*(("marker", one) for one in data.markers), *(("mask", one) for one in data.masks)}
        named |= {("bottle", one) for one in data.bottles}
        return _withdrawn_belongs(data, players, not named.isdisjoint(gear))
    pieces = {(kind, getattr(data, kind)) for kind in ("marker", "mask", "bottle") if isinstance(data, OF_EVIDENCE)}
    return isinstance(data, OF_INCIDENT) or not pieces.isdisjoint(gear)


def _withdrawn_belongs(data: EntryWithdrawn, players: tuple[str, ...], his_gear: bool) -> bool:  # noqa: FBT001
    """A withdrawal belongs where what it withdraws does."""
    match data.kind:
        case "injury" | "treatment" | "outcome":
            return not set(data.players).isdisjoint(players)
        case "custody_taken" | "custody_passed":
            return his_gear
    return True


def _tags(found: list[Found], prefix: str, player: str) -> list[str]:
    """The tags of a kind in the events that are about this player alone."""
    return list(
        dict.fromkeys(
            tag
            for one in found
            if getattr(one.recorded.data, "player", None) == player
            for tag in one.recorded.tags
            if tag.partition(":")[0] == prefix
        )
    )
