"""The commands of the park's office, and the briefing, which anybody may read. The day is opened, and the weather recorded, where the fields are known: in games."""

from typing import Any

from litestar import Request, get
from litestar.params import FromPath

from contracts.park import AdoptRules, Briefing
from contracts.problems import Unavailable
from services.core.command import Handler
from services.core.routes import park_of
from services.core.rules import RULES
from services.core.service import Service
from services.park import model
from services.park.states import VERSIONS


@get("/parks/{park:str}/briefing", opt={"public": True})
async def briefing(request: Request[Any, Any, Any], park: FromPath[str]) -> Briefing:
    """The safety briefing in the version in force, with the cautions that no rule can waive."""
    where = park_of(request, park)
    given, _ = await where.load(lambda _: ())
    in_force = given.of(RULES, "")
    if in_force.unreadable:
        raise Unavailable("The park has adopted rules that this software cannot read: ask staff for the briefing.")
    return model.briefing(where.park, in_force.rules)


SERVICE = Service(
    "park",
    (Handler(AdoptRules, lambda _c, _g: {(VERSIONS, "")}, model.adopt_rules),),
    (briefing,),
)
