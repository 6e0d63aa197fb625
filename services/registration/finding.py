"""Finding a player by what a station can see of him: the day pass that is scanned, or the number on his armband."""

from typing import Any

import msgspec
from litestar import Request, get
from litestar.params import FromPath

from contracts.clearance import GATE, FoundPlayer
from contracts.passes import Shown, is_signed
from contracts.problems import InvalidParameter, PassReplaced, UnknownSubject
from contracts.words import DayArmband
from services.core.fold import Fold
from services.core.plainly import plainly
from services.core.routes import park_of
from services.core.rules import RULES, operating_day
from services.registration.passes.keyring import code_shown
from services.registration.passes.routes import rings_of
from services.registration.states import ARMBAND, PASS, PLAYER, Taken

_BY: dict[str, tuple[Fold[Taken], Any]] = {"day_pass": (PASS, Shown), "armband": (ARMBAND, DayArmband)}


@get("/parks/{park:str}/registration/players", opt={"roles": GATE})
async def found_player(request: Request[Any, Any, Any], park: FromPath[str]) -> FoundPlayer:
    """Who wears this armband today, or was given this day pass? Read from the log itself."""
    where = park_of(request, park)
    fold, shown = _asked(dict(request.query_params))
    given, _ = await where.load(lambda _: ())
    day = operating_day(given.of(RULES, "").rules, where.clock.now())
    value = code_shown(rings_of(request), where.park, shown, day) if fold is PASS else shown
    given, _ = await where.load(lambda _: {(fold, value)})
    name = given.of(fold, value).on(day)
    if name is None:
        raise UnknownSubject(
            f"Nobody has {fold.prefix} {value} today. Look again, or ask the desk.", where=fold.tag(value)
        )
    given, _ = await where.load(lambda _: {(PLAYER, name)})
    player = given.of(PLAYER, name)
    replaced = fold is PASS and player.day_pass != value
    if replaced and is_signed(shown):
        raise PassReplaced(
            f"This pass of {name}, armband {player.armband}, was replaced by a newer one. Take it away and ask for the newer one; whoever has none goes to the desk.",
            where=f"player:{name}",
        )
    return FoundPlayer(
        player=name,
        armband=player.armband,
        day_pass=player.day_pass,
        group=player.group,
        part=player.part,
        replaced=replaced,
    )


def _asked(query: dict[str, Any]) -> tuple[Fold[Taken], str]:
    named = [name for name in _BY if name in query]
    if len(named) != 1:
        raise InvalidParameter("Ask by day_pass or by armband, one of them.", where="day_pass")
    fold, kind = _BY[named[0]]
    try:
        return fold, str(msgspec.convert(query[named[0]], kind, strict=False))
    except msgspec.ValidationError as error:
        what, _ = plainly(error, kind)
        raise InvalidParameter(f"{named[0]}: {what}.", where=named[0]) from None
