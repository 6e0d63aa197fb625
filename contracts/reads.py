"""Every reading route. The routes themselves live in the services; a test holds the two together."""

from datetime import datetime

from msgspec import Struct

from contracts import devices, evidence, vault
from contracts.audit_page import AUDIT_PAGE_READS
from contracts.batch import BATCH_READS
from contracts.bench import BENCH_READS
from contracts.board import PAGE, Status
from contracts.cases import CASE_READS
from contracts.checks import CHECK_READS
from contracts.chronos import CHRONO_READS
from contracts.clearance import GATE, Clearance, Clearances, FoundPlayer, Names
from contracts.closing import CLOSING_READS
from contracts.desk import DESK_READS
from contracts.documents import DOCUMENT_READS
from contracts.fleet import FLEET_READS
from contracts.gate import GATE_READS
from contracts.gear import GEAR_READS
from contracts.handheld import HANDHELD_READS
from contracts.incident_reads import INCIDENT_READS
from contracts.markers import MARKER_READS
from contracts.moments import MOMENT_READS
from contracts.park import Briefing
from contracts.passes import PASS_REFUSALS, Shown
from contracts.problems import (
    Broken,
    InvalidParameter,
    NotCaughtUp,
    NotFound,
    PositionAhead,
    TooManyStreams,
    Unavailable,
    UnknownSubject,
)
from contracts.read import AT_LEAST, BEHIND_A_KEY, EVENT_STREAM, FROM_READ_TABLES, WATCHERS, Parameter, Read
from contracts.reading import EVENT_READS, WEBHOOK_READS
from contracts.roll_call import ROLL_CALL_READS
from contracts.rotation_reads import ROTATION_READS
from contracts.set_aside import SET_ASIDE_READS
from contracts.staging import STAGING_READS
from contracts.story import STORY_READS
from contracts.teams import TEAM_READS
from contracts.waits import WAIT_READS
from contracts.what_if import WHAT_IF_READS
from contracts.words import DayArmband, FieldId


class Alive(Struct, frozen=True, kw_only=True):
    status: str


class LogState(Struct, frozen=True, kw_only=True):
    """Where the log ends, and the sentence why nothing is recorded now: empty while all is well."""

    epoch: int
    position: int
    why: str


class ProjectionsState(Struct, frozen=True, kw_only=True):
    position: int
    from_bus: bool
    failed: dict[str, str]


class RelayState(Struct, frozen=True, kw_only=True):
    state: str
    why: str
    position: int


class EvidenceState(Struct, frozen=True, kw_only=True):
    """How far the log lies under a signed checkpoint, and the sentence why no more is signed, where that is so."""

    state: str
    why: str
    size: int
    signed_at: datetime | None


class ParkState(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """How one park fares: its log, or the sentence why that cannot be read; its read tables; its way to the bus; its checkpoints."""

    log: LogState | str
    projections: ProjectionsState | None = None
    relay: RelayState | None = None
    evidence: EvidenceState | None = None
    board: str | None = None
    """Why there is no board, no rotation and no staging list at the moment. What is told is recorded all the same."""


class Readiness(Struct, frozen=True, kw_only=True):
    ready: bool
    parks: dict[str, ParkState]


READS: tuple[Read, ...] = (
    Read(path="/health", summary="The process answers.", roles=None, answer=Alive, problems=(Broken,)),
    Read(
        path="/ready",
        summary="503 unless every park's log can be read and written. The bus may be down without harm: that is said, not failed.",
        roles=None,
        answer=Readiness,
        problems=(Broken,),
        also=(503,),
    ),
    Read(
        path="/parks/{park}/metrics",
        summary="How the process fares, in the Prometheus text format.",
        roles=WATCHERS,
        media="text/plain",
    ),
    Read(
        path="/parks/{park}/briefing",
        summary="The safety briefing in the version in force, with the cautions that no rule can waive.",
        roles=None,
        answer=Briefing,
        problems=(NotFound, Unavailable, Broken),
    ),
    Read(
        path="/parks/{park}/registration/players",
        summary="Who wears this armband today, or was given this day pass? Asked by one of them.",
        roles=GATE,
        answer=FoundPlayer,
        parameters=(
            Parameter(name="day_pass", kind=Shown, description="The pass that was scanned or typed."),
            Parameter(name="armband", kind=DayArmband, description="The number on the armband."),
        ),
        problems=(*BEHIND_A_KEY, UnknownSubject, *PASS_REFUSALS),
    ),
    Read(
        path="/parks/{park}/clearance/players/{player}",
        summary="May this player, with what he carries, enter this field now? Read from the log itself.",
        roles=GATE,
        answer=Clearance,
        parameters=(
            Parameter(name="field", kind=FieldId, description="The field that he wants to enter.", required=True),
            Parameter(
                name="day_pass", kind=Shown, description="The pass that was shown, where one was: scanned or typed."
            ),
        ),
        problems=(*BEHIND_A_KEY, *PASS_REFUSALS),
    ),
    Read(
        path="/parks/{park}/clearance",
        summary="Who of these players is not ready for a field, and why? From the read tables, for staging's screen.",
        roles=GATE,
        answer=Clearances,
        parameters=(
            Parameter(name="field", kind=FieldId, description="The field that they are to enter.", required=True),
            Parameter(name="players", kind=Names, description="Who is asked about.", required=True),
            AT_LEAST,
        ),
        problems=FROM_READ_TABLES,
    ),
    Read(
        path="/",
        summary="To the board of the only park; where there are several, a list of them.",
        roles=None,
        media="text/html",
        problems=(Broken,),
        also=(303,),
    ),
    Read(
        path="/parks/{park}/board.json",
        summary="The park's live status. It names nobody: armband numbers and colours only.",
        roles=None,
        answer=Status,
        parameters=(AT_LEAST,),
        problems=(InvalidParameter, NotFound, PositionAhead, NotCaughtUp, Unavailable, Broken),
    ),
    Read(
        path="/parks/{park}/board/stream",
        summary=(
            "The live status as server-sent events without end: `snapshot`, then `patch` (RFC 7396 against the status before), "
            "`beat` every 5 s. Resumes by Last-Event-ID."
        ),
        roles=None,
        media=EVENT_STREAM,
        problems=(NotFound, TooManyStreams, Broken),
    ),
    Read(
        path="/parks/{park}/board",
        summary="The page for a wall screen, which follows the stream.",
        roles=None,
        media="text/html",
        problems=(NotFound, Broken),
    ),
    *(
        Read(
            path=f"/parks/{{park}}/board/{name}",
            summary="A part of the wall screen's page.",
            roles=None,
            media=media,
            problems=(NotFound, Broken),
        )
        for name, media in PAGE.items()
    ),
    *CHECK_READS,
    *INCIDENT_READS,
    *CHRONO_READS,
    *CLOSING_READS,
    *FLEET_READS,
    *GEAR_READS,
    *MARKER_READS,
    *DESK_READS,
    *vault.READS,
    *evidence.READS,
    *STORY_READS,
    *CASE_READS,
    *AUDIT_PAGE_READS,
    *MOMENT_READS,
    *WHAT_IF_READS,
    *TEAM_READS,
    *STAGING_READS,
    *ROTATION_READS,
    *HANDHELD_READS,
    *GATE_READS,
    *WAIT_READS,
    *ROLL_CALL_READS,
    *BATCH_READS,
    *SET_ASIDE_READS,
    *BENCH_READS,
    *EVENT_READS,
    *WEBHOOK_READS,
    *devices.READS,
    *DOCUMENT_READS,
)
