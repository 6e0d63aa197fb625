"""Case files of a park: gathered from its log, proven under a checkpoint that is signed for it, and sent."""

import asyncio
from collections.abc import Awaitable, Callable
from typing import Any

from litestar import Request, Response, get
from litestar.params import FromPath

from contracts.cases import ZIP
from contracts.leaf import LeafError
from contracts.problems import NotInThatState
from contracts.story import Story
from contracts.what_if import AUDITORS
from services.audit.cases.case import case_file
from services.audit.cases.dossier import gather
from services.audit.cases.examination import examine
from services.audit.cases.proofs import evidence_of
from services.audit.cases.shelf import LogShelf
from services.audit.stories.routes import tag_of
from services.audit.stories.sources import story_of
from services.audit.stories.story import Span
from services.core.park import Park
from services.core.pool import Pool
from services.core.routes import park_of
from services.evidence import tiles
from services.evidence.outside import OutsideUnusable
from services.evidence.rounds import LOCK, NotSigned, Signed
from services.evidence.signer import Signer
from services.evidence.tiles import TilesMissing

Sign = Callable[[], Awaitable[Signed]]


async def case_of(park: Park, pool: Pool, sign: Sign, kind: str, subject: str) -> bytes:
    """The case file of a subject, under a checkpoint that covers all of it.

    Raises UnknownSubject; NotInThatState where the park signs nothing until a person has looked, or where what stands in the log is
    not what was signed.
    """
    tag = tag_of(park, kind, subject)

    async def tell(about: str, after: int) -> Story:
        return await story_of(park, about, Span(after=after))

    try:
        case, stories = await gather(LogShelf(pool, park.park), tell, park.park, *tag.partition(":")[::2])
    except LeafError as error:
        raise NotInThatState(
            f"No case file is made, since the record holds bytes that are no event ({error}). `fieldledger audit check` finds where."
        ) from error
    signed = await _signed(sign)
    positions = [one.recorded.position for one in case.events]
    async with pool.connection() as connection:
        try:
            evidence = await evidence_of(connection, park.log, signed, positions)
        except TilesMissing:  # some of the stored tree was taken out: the signer makes all of it again from the log
            async with connection.transaction():
                await connection.execute(LOCK, park.park)
                await tiles.forget(connection, park.park)
            evidence = await evidence_of(connection, park.log, await _signed(sign), positions)
    made = await asyncio.to_thread(case_file, case, stories, evidence)
    if wrong := (await asyncio.to_thread(examine, made)).wrong:
        raise NotInThatState(
            f"No case file is made, since it would not verify. {wrong[0]} `fieldledger audit check` finds what was changed."
        )
    return made


async def _signed(sign: Sign) -> Signed:
    try:
        return await sign()
    except (NotSigned, OutsideUnusable) as error:
        raise NotInThatState(f"No case file is made, since nothing can be signed. {error}") from error


def name_of(park: str, kind: str, subject: str) -> str:
    """What the file is called."""
    return f"case-{park}-{kind}-{subject}.zip"


@get("/parks/{park:str}/audit/cases/{kind:str}/{subject:str}", opt={"roles": AUDITORS})
async def case(
    request: Request[Any, Any, Any], park: FromPath[str], kind: FromPath[str], subject: FromPath[str]
) -> Response[bytes]:
    """One case as a ZIP that anybody can verify offline."""
    where = park_of(request, park)
    pool: Pool = request.app.state.pool
    signer: Signer = request.app.state.signers[where.park]
    made = await case_of(where, pool, signer.sign, kind, subject)
    headers = {
        "Content-Disposition": f'attachment; filename="{name_of(where.park, kind, subject)}"',
        "Cache-Control": "no-store",
    }
    return Response(made, media_type=ZIP, headers=headers)
