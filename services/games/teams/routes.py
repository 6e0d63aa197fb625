"""Teams asked for over HTTP, from strong reads. It writes nothing; the solver runs beside the loop, so no hold waits for it."""

import asyncio
from typing import Any, Final

import msgspec
from litestar import Request, post
from litestar.params import FromPath

from contracts.envelope import UNREADABLE
from contracts.games import FIELD_AND_STAGING
from contracts.problems import InvalidBody, MalformedBody
from contracts.teams import Proposal, ProposeTeams
from services.clearance.asking import moment_of
from services.core.plainly import plainly
from services.core.routes import JSON, must_be, park_of
from services.games.teams import proposal, staging

_QUESTION: Final = msgspec.json.Decoder(ProposeTeams)


@post("/parks/{park:str}/games/propose-teams", opt={"roles": FIELD_AND_STAGING}, status_code=200)
async def propose_teams(request: Request[Any, Any, Any], park: FromPath[str]) -> Proposal:
    """Teams for the next game of a field, from who of these players is cleared. A proposal: it writes nothing."""
    where = park_of(request, park)
    must_be(JSON, request.headers)
    question = _question(await request.body())
    given, read = await where.load(lambda given: staging.subjects(question, given))
    moment = moment_of(where, given, max(read.values()))
    return await asyncio.to_thread(proposal.propose, question, given, moment)


def _question(body: bytes) -> ProposeTeams:
    try:
        return _QUESTION.decode(body)
    except msgspec.ValidationError as error:
        what, where = plainly(error, ProposeTeams)
        raise InvalidBody(f"{what}. Correct the question and ask again.", where=where) from None
    except UNREADABLE as error:
        raise MalformedBody(f"{error}. Send JSON in UTF-8.") from None


ROUTES: Final = (propose_teams,)
"""The routes of teams."""
