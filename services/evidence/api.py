"""What anybody may ask for as proof of the record: checkpoints, proofs and keys. A manager or auditor has one signed now."""

from collections.abc import Awaitable
from typing import Annotated, Any, TypeVar

import asyncpg
import msgspec
from litestar import Request, Response, get, post
from litestar.params import FromPath

from contracts.evidence import (
    ANYBODY,
    MOST_LISTED,
    Checkpoints,
    ConsistencyProof,
    EpochNumber,
    Keys,
    Position,
    Proof,
    SignedCheckpoint,
    Size,
)
from contracts.problems import InvalidParameter, NotFound, NotInThatState, PositionAhead, Unavailable
from services.core.park import Park
from services.core.plainly import plainly
from services.core.pool import Pool
from services.core.routes import park_of
from services.core.service import Service
from services.evidence import checkpoints, library
from services.evidence.outside import OutsideUnusable
from services.evidence.rounds import NotSigned
from services.evidence.signer import EVERY, Signer
from services.evidence.tiles import TilesMissing

T = TypeVar("T")

_PATH = "/parks/{park:str}/evidence"
_FEW = 100
_Limit = Annotated[int, msgspec.Meta(ge=1, le=MOST_LISTED)]


@get(f"{_PATH}/checkpoint", opt={"roles": ANYBODY})
async def newest_checkpoint(request: Request[Any, Any, Any], park: FromPath[str]) -> Response[str]:
    """The newest checkpoint, as a signed note."""
    async with _pool(request).connection() as connection:
        return _text((await _newest(connection, park_of(request, park))).note)


@post(f"{_PATH}/checkpoint", opt={"roles": frozenset({"manager", "auditor"})}, status_code=200)
async def sign_checkpoint(request: Request[Any, Any, Any], park: FromPath[str]) -> Response[str]:
    """Sign a checkpoint now; the newest again where nothing was recorded since."""
    return _text(await _signed(request, park_of(request, park), new_key=False))


@post(f"{_PATH}/keys", opt={"roles": frozenset({"manager"})}, status_code=200)
async def rotate_key(request: Request[Any, Any, Any], park: FromPath[str]) -> Response[str]:
    """Adopt a new signing key, and sign a checkpoint with it and the one it replaces."""
    return _text(await _signed(request, park_of(request, park), new_key=True))


@get(f"{_PATH}/checkpoints", opt={"roles": ANYBODY})
async def list_checkpoints(request: Request[Any, Any, Any], park: FromPath[str]) -> Checkpoints:
    """The checkpoints that were signed, the newest first."""
    where = park_of(request, park)
    limit, before = _number(request, "limit", _Limit), _number(request, "before", Size)
    epoch = _number(request, "epoch", EpochNumber)
    async with _pool(request).connection() as connection:
        found = await checkpoints.before(connection, where.park, before, epoch, limit or _FEW)
    return Checkpoints(checkpoints=tuple(found))


@get(f"{_PATH}/proofs/{{position:str}}", opt={"roles": ANYBODY})
async def inclusion(request: Request[Any, Any, Any], park: FromPath[str], position: FromPath[str]) -> Proof:
    """The proof that an event lies under a checkpoint."""
    where = park_of(request, park)
    wanted, size = _fits(position, Position, "position"), _number(request, "size", Size)
    head = await where.log.head()
    if wanted > head.position:
        raise PositionAhead(f"The log ends at position {head.position}, before {wanted}.", where="position")
    async with _pool(request).connection() as connection:
        under = await (_newest(connection, where) if size is None else _of_size(connection, where, size, "size"))
        if wanted > under.size:
            raise NotFound(
                f"Position {wanted} is not under that checkpoint, which covers {under.size} events. {_LATER}"
            )
        return await _whole(request, where, library.proof(connection, where.log, wanted, under))


@get(f"{_PATH}/consistency", opt={"roles": ANYBODY})
async def consistency(request: Request[Any, Any, Any], park: FromPath[str]) -> ConsistencyProof:
    """The proof that between two checkpoints nothing was changed, only added."""
    where = park_of(request, park)
    first, second = _number(request, "first", Size), _number(request, "second", Size)
    if first is None or second is None:
        raise InvalidParameter("Name the sizes of two checkpoints: ?first=…&second=…", where="first")
    if first > second:
        raise InvalidParameter(f"first is {first}, second {second}: name the smaller one first.", where="first")
    async with _pool(request).connection() as connection:
        one = await _of_size(connection, where, first, "first")
        other = await _of_size(connection, where, second, "second")
        return await _whole(request, where, library.consistency(connection, where.park, one, other))


@get(f"{_PATH}/keys", opt={"roles": ANYBODY})
async def list_keys(request: Request[Any, Any, Any], park: FromPath[str]) -> Keys:
    """The keys that sign for this log, each with the proof of its adoption."""
    where = park_of(request, park)
    async with _pool(request).connection() as connection:
        return Keys(keys=await _whole(request, where, library.keys(connection, where.log)))


_LATER = f"One is signed every {EVERY:.0f} seconds while the log grows; ask again then, or have one signed now."


async def _whole(request: Request[Any, Any, Any], park: Park, answer: Awaitable[T]) -> T:
    """An answer from the stored tree; where some of that is missing, it is made again."""
    try:
        return await answer
    except TilesMissing as error:
        await _signer(request, park).make_again()
        raise Unavailable(f"{error} It is being made again from the log: ask again in a minute.") from error


async def _newest(connection: asyncpg.Connection, park: Park) -> SignedCheckpoint:
    found = await checkpoints.newest(connection, park.park)
    if found is None:
        raise NotFound(f"No checkpoint has been signed for this park yet. {_LATER}")
    return found


async def _of_size(connection: asyncpg.Connection, park: Park, size: int, name: str) -> SignedCheckpoint:
    found = await checkpoints.of_size(connection, park.park, size)
    if found is None:
        raise NotFound(
            f"No checkpoint was signed over {size} events, or a restore lost some of them. The list has the sizes.",
            where=name,
        )
    return found


async def _signed(request: Request[Any, Any, Any], park: Park, *, new_key: bool) -> str:
    try:
        return (await _signer(request, park).sign(new_key=new_key)).note
    except (NotSigned, OutsideUnusable) as error:
        raise NotInThatState(str(error)) from error


def _signer(request: Request[Any, Any, Any], park: Park) -> Signer:
    signer: Signer = request.app.state.signers[park.park]
    return signer


def _pool(request: Request[Any, Any, Any]) -> Pool:
    pool: Pool = request.app.state.pool
    return pool


def _text(note: str) -> Response[str]:
    return Response(note, media_type="text/plain", status_code=200, headers={"Cache-Control": "no-store"})


def _number(request: Request[Any, Any, Any], name: str, kind: Any) -> int | None:
    value = request.query_params.get(name)
    return None if value is None else _fits(value, kind, name)


def _fits(value: str, kind: Any, name: str) -> int:
    try:
        return int(msgspec.convert(value, kind, strict=False))
    except msgspec.ValidationError as error:
        raise InvalidParameter(f"{name} does not fit: {plainly(error, kind)[0]}.", where=name) from None


SERVICE = Service(
    "evidence",
    (),
    (newest_checkpoint, sign_checkpoint, rotate_key, list_checkpoints, inclusion, consistency, list_keys),
)
