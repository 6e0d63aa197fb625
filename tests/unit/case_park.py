"""A small invented morning as a log in memory, with all that a case file is made of: what the tests of case files stand on."""

import asyncio
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from functools import cache
from itertools import pairwise
from uuid import UUID

import msgspec

from contracts import leaf
from contracts.catalogue import TYPES, tags_of
from contracts.discipline import CautionRecorded, CautionResolved
from contracts.envelope import Basis, Data, Event, Reason
from contracts.equipment import GearIssued, MarkerRegistered, MaskRegistered
from contracts.evidence import AdoptedKey, KeyAdopted, Proof
from contracts.games import Entrant, FieldConfigured, FieldInspected, GameStarted, Offender, PlayerOut, StartRefused
from contracts.incidents import IncidentRecorded
from contracts.leaf import leaf_hash
from contracts.limits import Limit
from contracts.park import DayOpened, RulesAdopted, WeatherRecorded
from contracts.registration import BriefingHeld, ConsentGiven, PersonRegistered, PlayerRegistered, WaiverSigned
from contracts.rules import Rules
from contracts.story import Story
from contracts.velocity import ChronoChecked, MarkerTested
from services.audit.cases.case import Evidence, case_file
from services.audit.cases.dossier import Case, gather
from services.audit.cases.shelf import EVERYTHING
from services.audit.stories.story import tell
from services.core.log import Row
from services.evidence import tree
from services.evidence.checkpoint import Checkpoint
from services.evidence.note import SigningKey, sign
from services.evidence.tree import Nodes

PARK = "larchmoor"
ORIGIN = f"fieldledger/{PARK}/1"
OLD_KEY, KEY = SigningKey(ORIGIN, bytes(32)), SigningKey(ORIGIN, bytes([7] * 32))
OPENS = datetime(2026, 5, 9, 8, 0, tzinfo=UTC)
ENDS = OPENS + timedelta(hours=10)
ASH, ELM = "player-ash", "player-elm"
PASSES = ("LM-0417", "LM-0532")
BASIS = Basis(now=OPENS, rules="larchmoor-2026", position=9)
UNPAID = Reason(code="entry_unpaid", sentence="Your entry is not paid.", where="desk")

MORNING: tuple[Data, ...] = (
    RulesAdopted(rules=Rules(version="larchmoor-2026", time_zone="Europe/London")),
    DayOpened(opened=OPENS.date()),
    FieldConfigured(
        field="birch",
        title="Birch Wood",
        limit_fps=285,
        stop_limit_fps=300,
        age_floor=8,
        calibres=(".68",),
        firing_modes=("semi",),
        capacity=40, limit=Limit()),
    FieldInspected(field="birch", passed=True),
    WeatherRecorded(temperature_c=14.5),
    ChronoChecked(chrono="chrono-a", good=True, bias_fps=0.8, readings_fps=(), reference_fps=(), signals=()),
    *(MarkerRegistered(marker=f"marker-{one}", owner=None, model="Heron", calibre=".68", firing_mode="semi", gas="air") for one in (31, 32)),
    MaskRegistered(mask="mask-31", owner=None, model="Visor"),
    MarkerTested(
        test="test-31",
        marker="marker-31",
        chrono="chrono-a",
        readings_fps=(271.4, 268.9, 273.0),
        low_pressure=False,
        sealed=True,
        temperature_c=14.5, misreads=(), ball_g=None, rate_bps=None),
    PersonRegistered(person="person-ash", age_band=12),
    WaiverSigned(person="person-ash", wording="w1", language="cy"),
    ConsentGiven(
        person="person-ash",
        guardian="person-rowan",
        relationship="parent",
        wording="w1",
        on_site=False,
        responsible="person-hazel",
    ),
    PlayerRegistered(
        player=ASH, person="person-ash", group=None, part="player", age_band=12, day_pass=PASSES[0], armband=417, briefing_due=1
    ),
    PlayerRegistered(
        player=ELM, person="person-elm", group=None, part="player", age_band=18, day_pass=PASSES[1], armband=532, briefing_due=1
    ),
    BriefingHeld(briefing="briefing-1", version=1, language="en", players=(ASH, ELM)),
    GearIssued(basis=BASIS, player=ASH, marker="marker-31", mask="mask-31", bottle=None),
    GearIssued(basis=BASIS, player=ELM, marker="marker-32", mask="mask-32", bottle=None),
    StartRefused(basis=BASIS, reasons=(), game="birch-1", field="birch", offenders=(Offender(player=ELM, reasons=(UNPAID,)),)),
    GameStarted(
        basis=BASIS,
        game="birch-1",
        field="birch",
        rotation=None,
        format="elimination",
        minutes=15.0,
        entrants=(Entrant(player=ASH, colour="red"), Entrant(player=ELM, colour="orange")),
        left_out=(),
    ),
    CautionRecorded(
        caution="caution-5", player=None, field="birch", game="birch-1", colour="red", armband=417, violation="wiping", weight=1
    ),
    CautionRecorded(
        caution="caution-6", player=ELM, field="birch", game="birch-1", colour=None, armband=None, violation="abuse", weight=1
    ),
    CautionResolved(
        caution="caution-5",
        player=ASH,
        violation="wiping",
        weight=1,
        field="birch",
        game="birch-1",
        happened_at=OPENS + timedelta(minutes=20),
    ),
    PlayerOut(player=ASH, field="birch", game="birch-1", cause="injured"),
    IncidentRecorded(
        incident="incident-1",
        kind="injury",
        field="birch",
        game="birch-1",
        players=(ASH,),
        markers=("marker-31",),
        masks=("mask-31",),
        emergency_services=False,
    ),
)  # fmt: skip


class MemoryShelf:
    """Events by tag out of rows in memory."""

    def __init__(self, rows: Sequence[Row]) -> None:
        self.rows = rows
        self._tagged: dict[str, list[Row]] = {}
        for row in rows:
            for tag in leaf.decode(row.leaf).tags:
                self._tagged.setdefault(tag, []).append(row)

    async def newest(self, tag: str, upto: int = EVERYTHING, limit: int = 10_000) -> list[Row]:
        return [row for row in self._tagged.get(tag, ()) if row.position <= upto][-limit:]

    async def next(self, tag: str, after: int, limit: int) -> list[Row]:
        return [row for row in self._tagged.get(tag, ()) if row.position > after][:limit]

    async def at(self, positions: Sequence[int]) -> list[Row]:
        return [self.rows[position - 1] for position in positions]


def rows_of(happened: Sequence[Data]) -> list[Row]:
    """These as a log, one a minute."""
    return [Row(position, _leaf(position, data)) for position, data in enumerate(happened, 1)]


def _leaf(position: int, data: Data) -> bytes:
    at = OPENS + timedelta(minutes=position)
    event = Event(
        type=TYPES[type(data)],
        version=data.VERSION,
        id=UUID(int=position),
        day=at.date(),
        occurred_at=at,
        claimed_at=None,
        clock="server",
        device="desk-1",
        device_seq=None,
        actor="staff-wren",
        tags=tags_of(data),
        data=msgspec.Raw(msgspec.json.encode(data)),
    )
    return leaf.frame(PARK, 1, position, at, leaf.encode(event))


def gathered(
    rows: Sequence[Row], kind: str, subject: str, park: str = PARK, shelf: MemoryShelf | None = None
) -> tuple[Case, tuple[Story, ...]]:
    """The case of a subject out of rows in memory, and its stories."""
    shelf = shelf or MemoryShelf(rows)

    async def told(tag: str, after: int) -> Story:
        rest = rows if tag.startswith("player:") else await shelf.newest(tag)
        return tell(park, tag, [row for row in rest if row.position > after or tag.startswith("player:")])

    return asyncio.run(gather(shelf, told, park, kind, subject))


def evidence_of(
    rows: Sequence[Row], case: Case, keys: Sequence[SigningKey] = (KEY,), nodes: Nodes | None = None
) -> Evidence:
    """What a signer would give for a case: `keys` one after the other, the last one in use."""
    nodes = nodes or Levels(rows)
    head = sign(Checkpoint.at(ORIGIN, len(rows), tree.root_at(nodes, len(rows)), ENDS).text, keys[-1:])
    return Evidence(
        checkpoint=head,
        keys=tuple(key.verifier.text for key in keys),
        rotations=tuple(adoption(*pair) for pair in pairwise(keys)),
        proofs={
            found.recorded.position: tree.inclusion_proof(nodes, found.recorded.position - 1, len(rows))
            for found in case.events
        },
        sign=lambda text: sign(text, keys[-1:]),
    )


def adoption(old: SigningKey, new: SigningKey) -> AdoptedKey:
    """The proof that a log adopted a key, in the log's first life of one event, under a checkpoint that both keys signed."""
    adopted = KeyAdopted(vkey=new.verifier.text, replaces=old.verifier.text)
    only = _leaf(1, adopted)
    proof = Proof(
        position=1,
        leaf=only.decode(),
        leaf_sha256=leaf_hash(only).hex(),
        index=0,
        size=1,
        hashes=(),
        checkpoint=sign(Checkpoint.at(ORIGIN, 1, leaf_hash(only), OPENS).text, (old, new)),
    )
    return AdoptedKey(vkey=adopted.vkey, replaces=adopted.replaces, proof=proof)


class Levels:
    """Every node of the tree over some rows."""

    def __init__(self, rows: Sequence[Row]) -> None:
        self._levels = [[leaf_hash(row.leaf) for row in rows]]
        while len(self._levels[-1]) > 1:
            self._levels.append(tree.parents(self._levels[-1]))

    def __call__(self, level: int, index: int) -> bytes:
        return self._levels[level][index]


@cache
def small_file(kind: str = "player", subject: str = ASH, keys: tuple[SigningKey, ...] = (OLD_KEY, KEY)) -> bytes:
    """A case file about the small morning, under a key that replaced another."""
    rows = rows_of(MORNING)
    case, stories = gathered(rows, kind, subject)
    return case_file(case, stories, evidence_of(rows, case, keys))
