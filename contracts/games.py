"""Games: fields, game lists, admission, holds, ends and head-counts."""

from typing import Annotated, ClassVar, Literal
from uuid import UUID

from msgspec import Meta, Struct

from contracts.balance import Overruled, Weighed
from contracts.envelope import Basis, Command, Data, Grant, Reason, Refusal
from contracts.limits import Limit
from contracts.rotation import Games, LatestGame, PlanDay, Replanned, SessionDay
from contracts.words import (
    Calibre,
    Colour,
    FieldId,
    FiringMode,
    GameId,
    GroupId,
    Instant,
    Part,
    PlayerId,
    RecordId,
    Role,
    RotationId,
    Speed,
)

ON_FIELD: frozenset[Role] = frozenset({"referee", "head_referee", "manager"})
FIELD_AND_STAGING: frozenset[Role] = ON_FIELD | {"staging"}
ANY_STAFF: frozenset[Role] = ON_FIELD | {"desk", "gear", "chrono", "staging", "first_aider"}
Format = Annotated[
    Literal["elimination", "respawn", "scenario", "continuous"],
    Meta(description="Elimination: out is out. The others let players in while the game is live."),
]
FoundAt = Literal["field", "staging", "desk", "gear", "chrono", "first_aid", "car_park", "off_site"]
HoldCause = Literal["weather", "injury", "mask_off", "intruder", "equipment", "fire", "other"]
PaintFinding = Literal["hit", "clean"]
"""`hit`: paint of the size of a coin or more from a ball that broke on him; common practice, no source."""
AidPlace = Literal["on_field", "gate"]
Title = Annotated[str, Meta(min_length=1, max_length=40, description="The field's name as painted on its gate.")]
Heads = Annotated[int, Meta(ge=0, le=1000)]


class Entrant(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One line of a game list."""

    player: PlayerId
    colour: Colour


class Offender(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A player who is not cleared, with every reason."""

    player: PlayerId
    reasons: tuple[Reason, ...]


GameList = Annotated[tuple[Entrant, ...], Meta(min_length=1, max_length=400)]


class FieldConfigured(Data, frozen=True, kw_only=True):
    """Version 1 knew limits in ft/s only."""

    VERSION: ClassVar[int] = 2
    ALSO: ClassVar[tuple[str, ...]] = ("fields",)
    field: FieldId
    title: Title
    limit_fps: Speed
    stop_limit_fps: Speed
    limit: Limit
    age_floor: int
    calibres: tuple[Calibre, ...]
    firing_modes: tuple[FiringMode, ...]
    capacity: int


class FieldCarried(FieldConfigured, frozen=True, kw_only=True):
    """A new day on a field on which nothing was left open: its story begins anew here, with its limits as they were."""

    CARRIES: ClassVar[frozenset[str]] = frozenset({"field"})


class FieldConfiguredV1(Data, frozen=True, kw_only=True):
    ALSO: ClassVar[tuple[str, ...]] = ("fields",)
    field: FieldId
    title: Title
    limit_fps: Speed
    stop_limit_fps: Speed
    age_floor: int
    calibres: tuple[Calibre, ...]
    firing_modes: tuple[FiringMode, ...]
    capacity: int


class FieldCarriedV1(FieldConfiguredV1, frozen=True, kw_only=True):
    CARRIES: ClassVar[frozenset[str]] = frozenset({"field"})


class ConfigureField(Command, frozen=True, kw_only=True):
    """Set a field's own limits: bench and stop limit in ft/s, age floor in years, calibres, firing modes, capacity.

    `limit` adds limits of the bench in other units and of the rate of fire; the strictest of the field's, the park's and the law's counts.
    """

    ROLES: ClassVar[frozenset[Role]] = frozenset({"manager"})
    field: FieldId
    title: Title
    limit_fps: Annotated[float, Meta(gt=0, le=300)] = 285.0
    stop_limit_fps: Annotated[float, Meta(gt=0, le=320)] = 300.0
    limit: Limit = Limit()
    age_floor: Annotated[int, Meta(ge=0, le=18)] = 12
    calibres: Annotated[tuple[Calibre, ...], Meta(min_length=1)] = (".68",)
    firing_modes: Annotated[tuple[FiringMode, ...], Meta(min_length=1)] = ("pump", "semi")
    capacity: Annotated[int, Meta(ge=2, le=400)] = 40


class FieldInspected(Data, frozen=True, kw_only=True):
    field: FieldId
    passed: bool


class InspectField(Command, frozen=True, kw_only=True):
    """Record the day's inspection of a field: netting, bunkers, ground, signs, emergency access."""

    ROLES: ClassVar[frozenset[Role]] = ON_FIELD
    FACT: ClassVar[bool] = True
    field: FieldId
    passed: bool


class GameCalled(Data, frozen=True, kw_only=True):
    game: GameId
    field: FieldId
    rotation: RotationId | None
    format: Format
    minutes: float
    entrants: GameList


class TeamsCalled(Data, frozen=True, kw_only=True):
    """Beside the call of a game: the proposal that its teams came from, what was changed in them, and what both come to on the record."""

    game: GameId
    field: FieldId
    proposal: RecordId
    rested_on: int
    """The position up to which the log had been read for the proposal."""
    overruled: tuple[Overruled, ...]
    proposed: tuple[Weighed, ...]
    called: tuple[Weighed, ...]


class Proposed(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The proposal that a game is called from, as it was shown: its name, the position that it rested on, its colours and its teams."""

    proposal: RecordId
    position: Annotated[int, Meta(ge=0, le=2**62)]
    colours: tuple[Colour, Colour]
    entrants: GameList


class CallGame(Command, frozen=True, kw_only=True):
    """Call the next game of a field with its game list. Calling again before the start replaces the list.

    `proposal` is where the list came from; what was changed in it stands on the record. Nobody is bound to a proposal.
    """

    ROLES: ClassVar[frozenset[Role]] = FIELD_AND_STAGING
    game: GameId
    field: FieldId
    rotation: RotationId | None = None
    format: Format = "elimination"
    minutes: Annotated[float, Meta(ge=1, le=720)] = 15.0
    entrants: GameList
    proposal: Proposed | None = None


class GameBriefed(Data, frozen=True, kw_only=True):
    game: GameId
    field: FieldId


class BriefGame(Command, frozen=True, kw_only=True):
    """Record that the referee briefed the teams on this game at the gate."""

    ROLES: ClassVar[frozenset[Role]] = ON_FIELD
    FACT: ClassVar[bool] = True
    game: GameId


class GameStarted(Grant, frozen=True, kw_only=True):
    """Everybody on the list was cleared at that position, and is on the field."""

    game: GameId
    field: FieldId
    rotation: RotationId | None
    format: Format
    minutes: float
    entrants: GameList
    left_out: tuple[Offender, ...]


class StartRefused(Refusal, frozen=True, kw_only=True):
    """Nobody was admitted. `reasons` are the field's own; `offenders` names every player who is not cleared."""

    game: GameId
    field: FieldId
    offenders: tuple[Offender, ...]


class StartGame(Command, frozen=True, kw_only=True):
    """Start a game: admits everybody on its list, or nobody and names every offender. `without` starts without those named."""

    ROLES: ClassVar[frozenset[Role]] = ON_FIELD
    game: GameId
    without: tuple[PlayerId, ...] = ()


class PlayerAdmitted(Grant, frozen=True, kw_only=True):
    player: PlayerId
    part: Part = "player"
    field: FieldId
    game: GameId | None
    colour: Colour | None


class AdmissionRefused(Refusal, frozen=True, kw_only=True):
    player: PlayerId
    field: FieldId
    game: GameId | None


class AdmitPlayer(Command, frozen=True, kw_only=True):
    """Ask to let one person through a field's gate: into a live respawn, scenario or continuous game, or as a non-player."""

    ROLES: ClassVar[frozenset[Role]] = FIELD_AND_STAGING
    player: PlayerId
    field: FieldId
    game: GameId | None = None
    colour: Colour | None = None


class Knowledge(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What a gate without a network rested its answer on: the epoch and position of its last sync, and the park's own time of it."""

    epoch: Annotated[int, Meta(ge=1)]
    position: Annotated[int, Meta(ge=0, le=2**62)]
    as_of: Instant


GateAnswer = Annotated[
    Literal["cleared", "not_cleared"],
    Meta(description="What the gate said. `not_cleared`: he went in all the same, and somebody saw it."),
]


class EntryRecorded(Data, frozen=True, kw_only=True):
    """Somebody was let onto a field while the gate had no network. He is on it, whatever the record says of it once it is told.

    `reasons`: everything against it by what was recorded up to the position in `basis`. `stale`: the gate's knowledge was older than the rules allow, or cannot be dated.
    """

    basis: Basis
    player: PlayerId
    part: Part = "player"
    field: FieldId
    game: GameId | None
    colour: Colour | None
    knew: Knowledge
    answer: GateAnswer
    age_minutes: float
    """How old what the gate knew was when he went in."""
    stale: bool
    reasons: tuple[Reason, ...]


class RecordEntry(Command, frozen=True, kw_only=True):
    """Record that somebody went onto a field while the gate had no network: what it knew, and what it answered. It is never refused; what stands against it is marked.

    Nothing else that is asked for is decided without the network: a start, an issue and a refund wait for the park's answer.
    """

    ROLES: ClassVar[frozenset[Role]] = FIELD_AND_STAGING
    FACT: ClassVar[bool] = True
    player: PlayerId
    field: FieldId
    game: GameId | None = None
    colour: Colour | None = None
    knew: Knowledge
    answer: GateAnswer


class PlayerOut(Data, frozen=True, kw_only=True):
    player: PlayerId
    field: FieldId
    game: GameId | None
    cause: Literal["eliminated", "walked_off", "injured", "sent_off"]


class RecordOut(Command, frozen=True, kw_only=True):
    """Record that a player is out and off the field. No game waits for it."""

    ROLES: ClassVar[frozenset[Role]] = ANY_STAFF
    FACT: ClassVar[bool] = True
    player: PlayerId
    field: FieldId
    game: GameId | None = None
    cause: Literal["eliminated", "walked_off", "injured", "sent_off"]


class OutVoided(Data, frozen=True, kw_only=True):
    """A player was recorded out by mistake: he never was. `out` is the id of the event that said so."""

    player: PlayerId
    field: FieldId
    game: GameId | None
    out: UUID


class VoidOut(Command, frozen=True, kw_only=True):
    """Withdraw that a player was out. He is in the game as if he had not been; whoever came off injured still waits for a first aider's word.

    `out` is the id of its event, which is the Idempotency-Key it was sent under. The device that recorded it may withdraw it for some minutes
    by rule; the head referee or a manager whenever they like.
    """

    ROLES: ClassVar[frozenset[Role]] = ANY_STAFF
    FACT: ClassVar[bool] = True
    player: PlayerId
    out: UUID


class PaintChecked(Data, frozen=True, kw_only=True):
    check: RecordId
    player: PlayerId
    field: FieldId
    game: GameId | None
    finding: PaintFinding


class CheckPaint(Command, frozen=True, kw_only=True):
    """Record that a referee looked a player over for paint. It puts nobody out: that is recorded for itself."""

    ROLES: ClassVar[frozenset[Role]] = ON_FIELD
    FACT: ClassVar[bool] = True
    check: RecordId
    player: PlayerId
    field: FieldId
    game: GameId | None = None
    finding: PaintFinding


class PaintCheckVoided(Data, frozen=True, kw_only=True):
    check: RecordId
    player: PlayerId
    field: FieldId


class VoidPaintCheck(Command, frozen=True, kw_only=True):
    """Withdraw a paint check that was recorded by mistake. Who may, and for how long, is as for an out."""

    ROLES: ClassVar[frozenset[Role]] = ON_FIELD
    FACT: ClassVar[bool] = True
    check: RecordId
    player: PlayerId


class FirstAidCalled(Data, frozen=True, kw_only=True):
    """Somebody needs first aid at a place: the screens show it until somebody answers it."""

    ALSO: ClassVar[tuple[str, ...]] = ("first_aid",)
    call: RecordId
    field: FieldId
    place: AidPlace


class CallFirstAid(Command, frozen=True, kw_only=True):
    """Call a first aider to a field, in one touch. If it is grave, call the emergency services first. It stops no play: call a hold for that."""

    ROLES: ClassVar[frozenset[Role]] = ANY_STAFF
    FACT: ClassVar[bool] = True
    call: RecordId
    field: FieldId
    place: AidPlace = "on_field"


class FirstAidAnswered(Data, frozen=True, kw_only=True):
    """A first aider is there; or the call was a mistake."""

    ALSO: ClassVar[tuple[str, ...]] = ("first_aid",)
    call: RecordId
    field: FieldId
    came: bool


class AnswerFirstAid(Command, frozen=True, kw_only=True):
    """Record that a first aider has come, or that the call was a mistake."""

    ROLES: ClassVar[frozenset[Role]] = ANY_STAFF
    FACT: ClassVar[bool] = True
    call: RecordId
    came: bool = True


class HoldAsked(Data, frozen=True, kw_only=True):
    """A hold of one field; without a field it is a hold of them all."""

    ALSO: ClassVar[tuple[str, ...]] = ("park",)
    hold: RecordId
    fields: tuple[FieldId, ...]
    whole_park: bool
    cause: HoldCause


class AskHold(Command, frozen=True, kw_only=True):
    """Stop play on a field, or everywhere when no field is named. Any staff may; it is never refused."""

    ROLES: ClassVar[frozenset[Role]] = ANY_STAFF
    FACT: ClassVar[bool] = True
    hold: RecordId
    field: FieldId | None = None
    cause: HoldCause = "other"


class HoldConfirmed(Data, frozen=True, kw_only=True):
    hold: RecordId
    field: FieldId


class ConfirmHold(Command, frozen=True, kw_only=True):
    """The field's referee confirms: stopped, covers on."""

    ROLES: ClassVar[frozenset[Role]] = ON_FIELD
    FACT: ClassVar[bool] = True
    hold: RecordId
    field: FieldId


class HoldLifted(Data, frozen=True, kw_only=True):
    hold: RecordId
    field: FieldId


class LiftHold(Command, frozen=True, kw_only=True):
    """A person resumes play on one field, after a sweep. Nothing resumes by itself."""

    ROLES: ClassVar[frozenset[Role]] = ON_FIELD
    hold: RecordId
    field: FieldId
    swept: Literal[True]


class GameEnded(Data, frozen=True, kw_only=True):
    """What a sit-out needs to know of a game: its rotation, when it started, how long it was played, who was on its list."""

    game: GameId
    field: FieldId
    rotation: RotationId | None
    format: Format
    started_at: Instant
    played_minutes: float
    full: bool
    players: tuple[PlayerId, ...]
    winner: Colour | None


class EndGame(Command, frozen=True, kw_only=True):
    """Record the end of a game. Everybody counts as off the field once the head-count says so."""

    ROLES: ClassVar[frozenset[Role]] = ON_FIELD
    FACT: ClassVar[bool] = True
    game: GameId
    winner: Colour | None = None


class GameAbandoned(Data, frozen=True, kw_only=True):
    game: GameId
    field: FieldId
    rotation: RotationId | None
    players: tuple[PlayerId, ...]
    cause: HoldCause


class AbandonGame(Command, frozen=True, kw_only=True):
    """Record that a called or live game was given up. It serves no sit-out."""

    ROLES: ClassVar[frozenset[Role]] = ON_FIELD
    FACT: ClassVar[bool] = True
    game: GameId
    cause: HoldCause = "other"


class HeadsCounted(Data, frozen=True, kw_only=True):
    """`expected` heads had to come off; where fewer did, `missing` names everybody that nobody has seen elsewhere."""

    field: FieldId
    game: GameId
    expected: int
    counted: Heads
    accounted: tuple[PlayerId, ...]
    missing: tuple[PlayerId, ...]


class CountHeads(Command, frozen=True, kw_only=True):
    """Type the number counted off the field after a game; `accounted` names players scanned elsewhere.

    Who was recorded out, has left the park or is on another field is not among them. Only the expected number releases the field.
    """

    ROLES: ClassVar[frozenset[Role]] = FIELD_AND_STAGING
    FACT: ClassVar[bool] = True
    game: GameId
    counted: Heads
    accounted: tuple[PlayerId, ...] = ()


class FieldSwept(Data, frozen=True, kw_only=True):
    field: FieldId
    game: GameId
    search_open: bool


class SweepField(Command, frozen=True, kw_only=True):
    """A referee signs that the field was walked and is empty: it is released while the search for whoever is missing stays open.

    With somebody missing, only a sweep with an open search releases it.
    """

    ROLES: ClassVar[frozenset[Role]] = ON_FIELD
    FACT: ClassVar[bool] = True
    game: GameId
    search_open: bool


class PlayerFound(Data, frozen=True, kw_only=True):
    """Somebody whom a head-count lacked was seen with one's own eyes, or his pass scanned. Once nobody is missing any more the search is over."""

    player: PlayerId
    game: GameId
    field: FieldId
    place: FoundAt


class FindPlayer(Command, frozen=True, kw_only=True):
    """Record that somebody who was missing after a game was found, or scanned at a station. Name him only when he stands before you."""

    ROLES: ClassVar[frozenset[Role]] = ANY_STAFF
    FACT: ClassVar[bool] = True
    player: PlayerId
    game: GameId
    place: FoundAt


STAGING: frozenset[Role] = frozenset({"staging", "head_referee", "manager"})


class RotationPublished(Data, frozen=True, kw_only=True):
    """The plan of the next hours as staging tells it to the groups; it takes the place of the one before. It admits nobody."""

    of: PlanDay
    plan: RecordId
    rested_on: int
    """The position up to which the log had been read for the plan that was shown."""
    after: tuple[LatestGame, ...]
    games: Games
    overruled: tuple[Replanned, ...]


class PublishRotation(Command, frozen=True, kw_only=True):
    """Publish the plan that was shown; `games` where staging changed it. What was changed stands on the record, and a later plan keeps it while it can."""

    ROLES: ClassVar[frozenset[Role]] = STAGING
    plan: RecordId
    position: Annotated[int, Meta(ge=0, le=2**62)]
    after: Annotated[tuple[LatestGame, ...], Meta(max_length=400)] = ()
    proposed: Games
    games: Games | None = None


class SessionBooked(Data, frozen=True, kw_only=True):
    """A field is one group's alone for a while."""

    of: SessionDay
    session: RecordId
    field: FieldId
    group: GroupId
    start: Instant
    end: Instant


class BookSession(Command, frozen=True, kw_only=True):
    """Book a field for one group alone, from `start` to `end`: the rotation lets nobody else play there, and the group nowhere else."""

    ROLES: ClassVar[frozenset[Role]] = STAGING | {"desk"}
    session: RecordId
    field: FieldId
    group: GroupId
    start: Instant
    end: Instant


class SessionCancelled(Data, frozen=True, kw_only=True):
    of: SessionDay
    session: RecordId
    field: FieldId
    group: GroupId


class CancelSession(Command, frozen=True, kw_only=True):
    """Give a booked field free for everybody again. `of` is the session's operating day."""

    ROLES: ClassVar[frozenset[Role]] = STAGING | {"desk"}
    of: SessionDay
    session: RecordId
