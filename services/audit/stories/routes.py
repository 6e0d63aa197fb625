"""Stories, asked for over HTTP."""

from typing import Any, Final

from litestar import Request, get
from litestar.params import FromPath

from contracts.story import Kind, Order, Page, PositionAfter, Story, SubjectId
from contracts.what_if import AUDITORS
from services.audit.point import position_of
from services.audit.query import asked, fitting
from services.audit.stories.sources import story_of
from services.audit.stories.story import Span
from services.core.park import Park
from services.core.routes import park_of

PAGE: Final = 500
"""Events in an answer that asks for no other number."""
WHOLE: Final = frozenset(
    {
        "park",
        "rules",
        "fields",
        "chronos",
        "lightning",
        "first_aid",
        "incidents",
        "evidence",
        "erasures",
        "webhooks",
        "pass_keys",
    }
)
"""Kinds of which a park has one: their tag is the kind alone."""


@get("/parks/{park:str}/audit/stories/{kind:str}/{subject:str}", opt={"roles": AUDITORS})
async def story(
    request: Request[Any, Any, Any], park: FromPath[str], kind: FromPath[str], subject: FromPath[str]
) -> Story:
    """All that the record holds about one subject, in words."""
    where = park_of(request, park)
    until = request.query_params.get("until")
    span = Span(
        order=asked(request, "order", Order) or "recorded",
        after=asked(request, "after", PositionAfter) or 0,
        limit=asked(request, "limit", Page) or PAGE,
        until=None if until is None else await position_of(where.log, until, "until"),
    )
    return await story_of(where, tag_of(where, kind, subject), span)


def tag_of(park: Park, kind: str, subject: str) -> str:
    """The tag of a subject; the park itself, its rules and the like are asked for by the park's name."""
    fitting(kind, "kind", Kind)
    fitting(subject, "subject", SubjectId)
    return kind if kind in WHOLE and subject == park.park else f"{kind}:{subject}"
