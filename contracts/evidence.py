"""What proves the record: the keys that sign for it, its checkpoints, and proofs that an event lies under one."""

from datetime import datetime
from typing import Annotated, ClassVar, Literal, get_args

from msgspec import Meta, Struct

from contracts.envelope import Data
from contracts.problems import NotInThatState, PositionAhead
from contracts.read import BEHIND_A_KEY, Parameter, Read
from contracts.words import Role

ANYBODY: frozenset[Role] = frozenset(get_args(Role))
"""Every device asks which of its writes lie under a checkpoint: those it may forget."""
Position = Annotated[int, Meta(ge=1, le=2**62, description="An event's number in the log, counted from 1.")]
Size = Annotated[int, Meta(ge=1, le=2**62, description="How many events a checkpoint covers: the first so many.")]
EpochNumber = Annotated[
    int, Meta(ge=1, le=2**31 - 1, description="A life of the log: 1, and one more with each restore.")
]
Hash = Annotated[str, Meta(pattern=r"^[0-9a-f]{64}$(?!\n)", description="SHA-256, in hexadecimal.")]
VerifierKeyText = Annotated[
    str, Meta(description="A key as C2SP signed-note writes it: `<name>+<id in hex>+<type and key in base64>`.")
]
NoteText = Annotated[
    str, Meta(description="A signed checkpoint as text (C2SP tlog-checkpoint): origin, size, root, time, signatures.")
]
RestoreCause = Annotated[
    Literal["backup", "point_in_time", "other"], Meta(description="What the database was brought back from or to.")
]
MOST_LISTED = 1000


class KeyAdopted(Data, frozen=True, kw_only=True):
    """From the next checkpoint on this key signs; what covers this event is signed by the key that it replaces as well."""

    ALSO: ClassVar[tuple[str, ...]] = ("evidence",)
    vkey: VerifierKeyText
    replaces: VerifierKeyText | None


class EpochBegun(Data, frozen=True, kw_only=True):
    """The database was brought back from a backup: a new life of the log begins with this event.

    As far as was known outside the database, the life before it held the positions `lost_first` to `lost_last` as well. Checkpoints
    over any of these stand no longer: nothing is left to hold them against.
    """

    ALSO: ClassVar[tuple[str, ...]] = ("evidence",)
    epoch: Annotated[int, Meta(ge=2)]
    checkpoint: Annotated[NoteText | None, Meta(description="The last checkpoint that was known outside.")]
    lost_first: Position
    lost_last: Position
    cause: RestoreCause


class SignedCheckpoint(Struct, frozen=True, kw_only=True):
    """One checkpoint that was signed."""

    epoch: int
    size: Size
    root: Hash
    signed_at: datetime
    note: NoteText


class Checkpoints(Struct, frozen=True, kw_only=True):
    """The newest first."""

    checkpoints: tuple[SignedCheckpoint, ...]


class Proof(Struct, frozen=True, kw_only=True):
    """That an event is leaf `index` of the tree whose root the checkpoint signs (RFC 9162 §2.1.3); `hashes` lead there, lowest first."""

    position: Position
    leaf: str
    leaf_sha256: Hash
    index: int
    size: Size
    hashes: tuple[Hash, ...]
    checkpoint: NoteText


class ConsistencyProof(Struct, frozen=True, kw_only=True):
    """That the log under the second checkpoint begins with that under the first (RFC 9162 §2.1.4)."""

    first: Size
    second: Size
    hashes: tuple[Hash, ...]
    first_checkpoint: NoteText
    second_checkpoint: NoteText


class AdoptedKey(Struct, frozen=True, kw_only=True):
    """A key, and the proof that it was adopted, under a checkpoint that the key it replaces has signed; None until there is one."""

    vkey: VerifierKeyText
    replaces: VerifierKeyText | None
    proof: Proof | None


class Keys(Struct, frozen=True, kw_only=True):
    """Every key of the log, the oldest first. Whoever trusts one can follow the proofs to those that came after it."""

    keys: tuple[AdoptedKey, ...]


_PATH = "/parks/{park}/evidence"
READS: tuple[Read, ...] = (
    Read(
        path=f"{_PATH}/checkpoint",
        summary="The newest checkpoint, as a signed note.",
        roles=ANYBODY,
        media="text/plain",
    ),
    Read(
        path=f"{_PATH}/checkpoint",
        summary="Sign a checkpoint now; the newest again where nothing was recorded since. Safe to repeat, so it needs no Idempotency-Key.",
        roles=frozenset({"manager", "auditor"}),
        method="post",
        media="text/plain",
        problems=(*BEHIND_A_KEY, NotInThatState),
    ),
    Read(
        path=f"{_PATH}/checkpoints",
        summary="The checkpoints that were signed, the newest first.",
        roles=ANYBODY,
        answer=Checkpoints,
        parameters=(
            Parameter(
                name="limit",
                kind=Annotated[int, Meta(ge=1, le=MOST_LISTED)],
                description="At most so many; 100 unless said.",
            ),
            Parameter(name="before", kind=Size, description="Only those over fewer events than this."),
            Parameter(
                name="epoch", kind=EpochNumber, description="Only those of this epoch: page through one at a time."
            ),
        ),
    ),
    Read(
        path=f"{_PATH}/proofs/{{position}}",
        summary="The proof that an event lies under a checkpoint. 404 until one covers it.",
        roles=ANYBODY,
        answer=Proof,
        parameters=(
            Parameter(name="size", kind=Size, description="Of the checkpoint to prove it by; the newest unless said."),
        ),
        problems=(*BEHIND_A_KEY, PositionAhead),
    ),
    Read(
        path=f"{_PATH}/consistency",
        summary="The proof that between two checkpoints nothing was changed, only added.",
        roles=ANYBODY,
        answer=ConsistencyProof,
        parameters=(
            Parameter(name="first", kind=Size, description="Of the earlier checkpoint.", required=True),
            Parameter(name="second", kind=Size, description="Of the later one.", required=True),
        ),
    ),
    Read(
        path=f"{_PATH}/keys",
        summary="The keys that sign for this log, each with the proof of its adoption.",
        roles=ANYBODY,
        answer=Keys,
    ),
    Read(
        path=f"{_PATH}/keys",
        summary="Adopt a new signing key and sign a checkpoint with it and the one it replaces. Each call adopts another.",
        roles=frozenset({"manager"}),
        method="post",
        media="text/plain",
        problems=(*BEHIND_A_KEY, NotInThatState),
    ),
)
