"""A new key for the park's passes: prepared outside first, then told to the log, then taken into use; the same request finishes what was broken off."""

from collections.abc import Iterable
from datetime import timedelta
from functools import partial
from typing import Any

from litestar import Request

from contracts.envelope import Data
from contracts.passes import PassKey
from contracts.registration import PassKeyRenewed, RenewPassKey
from services.core.command import Handler, Moment
from services.core.fold import Given
from services.core.park import Answer, Park
from services.core.routes import asked, write_route
from services.core.rules import operating_day
from services.registration.passes.routes import rings_of


def renew_pass_key(command: RenewPassKey, _: Given, moment: Moment, fresh: PassKey, before: PassKey) -> Iterable[Data]:
    """Of a stolen key no pass of today holds; else today's hold to the end of the day. What counts is today, whatever time is claimed."""
    today = operating_day(moment.rules, moment.now)
    return [
        PassKeyRenewed(
            key=fresh.id,
            public_key=fresh.public_key,
            from_day=today,
            replaces=before.id,
            until_day=today - timedelta(days=1) if command.cause == "stolen" else today,
            cause=command.cause,
        )
    ]


async def renew(request: Request[Any, Any, Any], park: Park, command: RenewPassKey, digest: bytes) -> Answer:
    ring = rings_of(request)[park.park]
    plain = asked(request, park, digest)
    fresh, before = ring.prepare(str(plain.id)), ring.public()[-1]
    handler = Handler(RenewPassKey, lambda _c, _g: set(), partial(renew_pass_key, fresh=fresh, before=before))
    answer = await park.execute(handler, command, plain)
    (told,) = (event.data for event in answer.receipt.events)
    ring.take(told.key, told.from_day, told.until_day)
    return answer


ROUTE = write_route(RenewPassKey, renew)
