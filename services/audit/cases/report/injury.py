"""What insurers and lawyers ask for after an incident, as far as the record holds it. What it does not hold is said to be not recorded."""

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from datetime import timedelta
from typing import Any

from contracts.duty import DutyEnded, DutyStarted, StaffRegistered
from contracts.envelope import Data, Recorded
from contracts.equipment import (
    BottleRegistered,
    GearIssued,
    GearQuarantined,
    GearReleased,
    MarkerRegistered,
    MaskRegistered,
)
from contracts.first_aid import EMERGENCY
from contracts.games import (
    FieldConfigured,
    FieldInspected,
    GameBriefed,
    GameEnded,
    GameStarted,
    HoldAsked,
    HoldConfirmed,
    HoldLifted,
    PlayerOut,
)
from contracts.incidents import IncidentRecorded, InjuryRecorded, PlayerFit, PlayerUnfit
from contracts.park import FlashSeen, RulesAdopted, ThunderHeard, WeatherRecorded
from contracts.registration import BriefingHeld, ConsentGiven, PlayerRegistered, WaiverSigned
from contracts.rules import Rules
from contracts.vault import DetailKept
from contracts.velocity import ChronoAdjusted, ChronoChecked, MarkerTested
from services.audit.cases.dossier import Case
from services.audit.cases.report import particulars
from services.audit.cases.report.content import Item, Section, Table
from services.audit.cases.report.first_aid import FirstAid
from services.audit.cases.report.moments import NOT_RECORDED, counted, listed, local, plainly, titled
from services.audit.cases.sides import sides
from services.audit.words.weather import thunder, weather

HOUR = timedelta(hours=1)


Incident = Recorded[IncidentRecorded]


def _once(events: Iterable[Recorded[Any] | None]) -> list[Recorded[Any]]:
    """Each once, in the order of positions."""
    found = {one.position: one for one in events if one is not None}
    return [found[position] for position in sorted(found)]


def sections(case: Case, incident: Incident, zone: str) -> tuple[Section, ...]:
    """An incident's own part of the report: what is known of the people, the gear and the field, and a checklist."""
    asked = _Asked(case, incident, zone)
    name = titled("incident", incident.data.incident)
    groups = [(f"{name}: what happened", list(asked.happened()))]
    for player in dict.fromkeys((*incident.data.players, *asked.hurt())):
        if player in case.players:
            groups.append((f"{name}: player {player}", list(asked.person(player))))
            groups.append((f"{name}: the gear of player {player}", list(asked.gear(player))))
    groups.append((f"{name}: field, staff and game", list(asked.ground())))
    groups.append((f"{name}: evidence", list(asked.evidence())))
    return (*(_section(heading, items) for heading, items in groups), _checklist(name, groups))


def _section(heading: str, items: Sequence[Item]) -> Section:
    rows = tuple((item.what, item.found, listed([str(one) for one in item.positions])) for item in items)
    return Section(
        heading=heading, table=Table(columns=("Asked for", "On record", "Position"), rows=rows, widths=(4, 9, 2))
    )


def _checklist(name: str, groups: Sequence[tuple[str, Sequence[Item]]]) -> Section:
    rows = tuple(
        ("[x]" if item.positions else "[  ]", heading.partition(": ")[2], item.what)
        for heading, items in groups
        for item in items
    )
    return Section(
        heading=f"{name}: checklist",
        text=(
            "[x] is in this file. [  ] is not recorded: look for it on paper, and with whoever keeps it, while people still remember.",
            f"{EMERGENCY} Impound mask and marker uncleaned. Tell the insurer and the authorities within the times that local law and the policy set; which those are is not for this record to say.",
        ),
        table=Table(columns=("", "Of", "Asked for"), rows=rows, widths=(1, 5, 8)),
        own_page=True,
    )


class _Asked:
    """One incident's questions, put to its case."""

    def __init__(self, case: Case, incident: Incident, zone: str) -> None:
        self._case = case
        self._incident = incident
        self._zone = zone
        self._first_aid = FirstAid(case, incident.data.incident, zone)
        self._rules: Rules = next(
            (one.data.rules for one in reversed(case.of(RulesAdopted)) if one.recorded_at <= incident.occurred_at),
            case.rules[0],
        )

    def hurt(self) -> Iterator[str]:
        """Players of whom an injury was told, also where the incident itself does not name them."""
        told = self._all(InjuryRecorded, incident=self._incident.data.incident)
        yield from (one.data.player for one in told if one.data.player is not None)

    def _at(self, event: Recorded[Any]) -> str:
        return local(event.occurred_at, self._zone)

    def _before(self, *kinds: type[Data], **fields: Any) -> list[Recorded[Any]]:
        """Events of these kinds and fields that happened up to the incident."""
        return [one for one in self._all(*kinds, **fields) if one.occurred_at <= self._incident.occurred_at]

    def _all(self, *kinds: type[Data], **fields: Any) -> list[Recorded[Any]]:
        return [
            one
            for one in self._case.of(*kinds)
            if all(getattr(one.data, name, None) == value for name, value in fields.items())
        ]

    def happened(self) -> Iterator[Item]:
        incident, data = self._incident, self._incident.data
        here = (incident.position,)
        late = incident.recorded_at - incident.occurred_at
        yield Item("Kind", plainly(data.kind), here)
        yield Item("When it happened, by the record", self._at(incident), here)
        yield Item(
            "When it was recorded",
            f"{local(incident.recorded_at, self._zone)}, {int(late.total_seconds())} s after",
            here,
        )
        yield Item("Who recorded it", f"{incident.actor or 'nobody named'}, on {incident.device}", here)
        yield Item(
            "Where",
            listed([f"{kind} {name}" for kind, name in (("field", data.field), ("game", data.game)) if name])
            or NOT_RECORDED,
            here,
        )
        yield Item("Emergency services", "called" if data.emergency_services else "recorded as not called", here)
        yield self._first_aid.help()
        yield from self._first_aid.scene()
        yield self._first_aid.witnesses()
        yield self._events(
            "Weather at staging",
            self._before(WeatherRecorded)[-1:],
            lambda one: weather(one.data),
        )
        yield self._events(
            "Last flash or thunder before it",
            self._before(ThunderHeard, FlashSeen)[-1:],
            lambda one: "flash without thunder" if isinstance(one.data, FlashSeen) else thunder(one.data),
        )
        yield self._similar()
        yield self._first_aid.notifications()
        yield from self._first_aid.closed()

    def _events(self, what: str, events: Sequence[Recorded[Any]], words: Any) -> Item:
        if not events:
            return Item(what)
        said = "; ".join(f"{words(one)} ({self._at(one)})" for one in events)
        return Item(what, said, tuple(one.position for one in events))

    def _similar(self) -> Item:
        """Other incidents of that field and day, by kind."""
        others = [one for one in self._all(IncidentRecorded) if one.data.incident != self._incident.data.incident]
        kinds = Counter(plainly(one.data.kind) for one in others)
        said = listed([counted(number, kind) for kind, number in sorted(kinds.items())])
        where = "on that field that day"
        found = f"{said} {where}" if said else f"none other is recorded {where}"
        return Item("Similar incidents", found, tuple(one.position for one in others) or (self._incident.position,))

    def person(self, player: str) -> Iterator[Item]:
        registered = self._all(PlayerRegistered, player=player)[-1:]
        person = registered[0].data.person if registered else ""
        yield self._events("Age band", registered, lambda one: f"at least {one.data.age_band} years")
        yield self._events(
            "Waiver",
            self._before(WaiverSigned, person=person)[-1:],
            lambda one: f"wording {one.data.wording}, in language {one.data.language}",
        )
        minor = bool(registered) and registered[0].data.age_band < self._rules.waiver.majority_years
        if minor:
            yield self._events("Guardian's authority", self._before(ConsentGiven, person=person), particulars.consent)
        elif registered:
            yield Item("Guardian's authority", "none needed by the park's rules: of age", (registered[0].position,))
        yield self._events(
            "Safety briefing and its language",
            [one for one in self._before(BriefingHeld) if player in one.data.players],
            lambda one: f"version {one.data.version}, in language {one.data.language}",
        )
        yield self._medical(person)
        yield from self._first_aid.casualty(player)
        yield self._events(
            "Off the field", self._all(PlayerOut, player=player), lambda one: f"{plainly(one.data.cause)}"
        )
        yield self._events(
            "Fitness", self._all(PlayerUnfit, PlayerFit, player=player),
            lambda one: f"not fit: {one.data.cause}" if isinstance(one.data, PlayerUnfit) else "declared fit",
        )  # fmt: skip

    def _medical(self, person: str) -> Item:
        """The record only knows that the vault holds something; it never says what."""
        kept = self._all(DetailKept, person=person, kind="medical")
        return self._events("Medical declaration", kept, lambda _: "in the vault, released separately")

    def gear(self, player: str) -> Iterator[Item]:
        issued = self._before(GearIssued, player=player)
        markers = self._named("marker", player, issued)
        masks = self._named("mask", player, issued)
        bottles = self._named("bottle", player, issued)
        yield self._pieces("Mask", "mask", masks, MaskRegistered)
        yield self._pieces("Marker", "marker", markers, MarkerRegistered)
        yield self._pieces("Bottle", "bottle", bottles, BottleRegistered)
        yield self._first_aid.paint()
        tests = [one for one in self._before(MarkerTested) if one.data.marker in markers]
        yield self._events("Readings, strings up to the incident", tests, particulars.string)
        yield from self._checks(tests)
        yield self._impounded({*markers, *masks})

    def evidence(self) -> Iterator[Item]:
        """Who has each piece, and how it came to him."""
        found = tuple(self._first_aid.evidence())
        yield from found or (Item("Custody of mask and marker"),)

    def _impounded(self, pieces: set[str]) -> Item:
        """What the incident names is out of use from then on; what else was put aside later, and what was released."""
        named = [name for name in (*self._incident.data.markers, *self._incident.data.masks) if name in pieces]
        by_itself = [f"{listed(named)} by the incident's own record, until a manager releases"] if named else []
        later = [
            one
            for one in self._all(GearQuarantined, GearReleased)
            if {one.data.marker, one.data.mask} & pieces and one.occurred_at >= self._incident.occurred_at
        ]
        said = [*by_itself, *(f"{particulars.set_aside(one)} ({self._at(one)})" for one in later)]
        positions = (*([self._incident.position] if named else []), *(one.position for one in later))
        return Item("Impounded, uncleaned, with its custody", "; ".join(said) or NOT_RECORDED, positions)

    def _named(self, kind: str, player: str, issued: Sequence[Recorded[Any]]) -> tuple[str, ...]:
        """The pieces of a kind that the incident names, of those that were his; else what he was last given or brought."""
        brought = [
            one for one in self._case.of(MarkerRegistered, MaskRegistered, BottleRegistered) if one.data.owner == player
        ]
        his = [name for one in (*brought, *issued) if isinstance(name := getattr(one.data, kind, None), str)]
        told = getattr(self._incident.data, f"{kind}s", ())
        alone = self._incident.data.players == (player,)
        return tuple(name for name in told if alone or name in his) or tuple(his[-1:])

    def _pieces(self, what: str, kind: str, names: Sequence[str], register: type[Data]) -> Item:
        if not names:
            return Item(what)
        entered = [one for one in self._case.of(register) if getattr(one.data, kind) in names]
        given = [one for one in self._before(GearIssued) if getattr(one.data, kind) in names][-1:]
        said = [f"{getattr(one.data, kind)}, {particulars.model(one.data)}" for one in entered] or list(names)
        said += [f"issued {self._at(one)}" for one in given]
        positions = tuple(one.position for one in (*entered, *given)) or (self._incident.position,)
        return Item(what, "; ".join(said), positions)

    def _checks(self, tests: Sequence[Recorded[Any]]) -> Iterator[Item]:
        """The checks either side of these tests, and work between them where there was any: it hides what was read before it."""
        found = [sides(test, self._all(ChronoChecked, ChronoAdjusted)) for test in tests]
        works = _once(work for one in found for work in one.works)
        yield self._events("Chronograph checked before", _once(one.before for one in found), particulars.check)
        if works:
            yield self._events("Chronograph worked on between", works, particulars.work)
        yield self._events("Chronograph checked after", _once(one.after for one in found), particulars.check)

    def ground(self) -> Iterator[Item]:
        field, game = self._incident.data.field, self._incident.data.game
        yield self._events("Field and its limits", self._before(FieldConfigured, field=field)[-1:], particulars.limits)
        yield self._events(
            "Field inspection",
            self._before(FieldInspected, field=field)[-1:],
            lambda one: "passed" if one.data.passed else "failed",
        )
        referees = self._on_duty("referee", field)
        yield self._events(
            "Referees on the field",
            referees,
            lambda one: f"{one.data.staff}, qualified until {one.data.qualified_until}",
        )
        yield self._training(referees)
        started = self._before(GameStarted, game=game)[-1:] if game else []
        yield self._ratio(referees, started)
        yield self._events(
            "First aiders on duty",
            self._on_duty("first_aider", None),
            lambda one: f"{one.data.staff}, qualified until {one.data.qualified_until}",
        )
        yield self._events(
            "Briefed at the gate",
            self._before(GameBriefed, game=game) if game else [],
            lambda one: f"game {one.data.game}",
        )
        yield self._events(
            "Game started", started, lambda one: f"{plainly(one.data.format)}, {one.data.minutes:g} minutes"
        )
        yield self._events("Play stopped", self._stops(started, HoldAsked, HoldConfirmed), particulars.hold)
        yield self._events(
            "Play resumed", self._stops(started, HoldLifted), lambda one: f"hold {one.data.hold} lifted after a sweep"
        )
        yield self._events(
            "Game ended",
            self._all(GameEnded, game=game) if game else [],
            lambda one: f"after {one.data.played_minutes:.1f} minutes of play",
        )

    def _stops(self, started: Sequence[Recorded[Any]], *kinds: type[Data]) -> list[Recorded[Any]]:
        """What became, on that field, of the holds that were asked for in that game or within the hour."""
        field, at = self._incident.data.field, self._incident.occurred_at
        begun = started[0].occurred_at if started else at - HOUR
        asked = [one for one in self._all(HoldAsked) if field in one.data.fields]
        holds = {one.data.hold for one in asked if begun <= one.occurred_at <= at + HOUR}
        return [
            one for one in self._all(*kinds) if one.data.hold in holds and getattr(one.data, "field", field) == field
        ]

    def _on_duty(self, post: str, field: str | None) -> list[Recorded[Any]]:
        """The last start of everybody who was on that post when it happened."""
        on: dict[str, Recorded[Any]] = {}
        for one in self._before(DutyStarted, DutyEnded):
            if isinstance(one.data, DutyEnded):
                on.pop(one.data.staff, None)
            elif one.data.post == post and (field is None or one.data.field == field):
                on[one.data.staff] = one
            elif one.data.left == field and post == "referee":
                on.pop(one.data.staff, None)
        return list(on.values())

    def _training(self, referees: Sequence[Recorded[Any]]) -> Item:
        names = {one.data.staff for one in referees}
        entered = [one for one in self._case.of(StaffRegistered) if one.data.staff in names]
        return self._events("Their training, as entered", entered, particulars.qualified)

    def _ratio(self, referees: Sequence[Recorded[Any]], started: Sequence[Recorded[Any]]) -> Item:
        if not started:
            return Item("Players for each referee")
        players, staff = len(started[0].data.entrants), len(referees)
        rule = f"the rule: at most {self._rules.games.players_per_referee}"
        said = f"{players} players started, {counted(staff, 'referee')} on duty; {rule}"
        return Item("Players for each referee", said, (started[0].position, *(one.position for one in referees)))
