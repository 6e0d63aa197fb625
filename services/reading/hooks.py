"""The webhooks' commands, what a person reads of them, and the senders that are at work while the application is."""

import asyncio
import secrets
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from functools import partial
from typing import Any, Final

import anyio
import asyncpg
from litestar import Litestar, Request, Response, get
from litestar.handlers import HTTPRouteHandler
from litestar.params import FromPath
from msgspec.structs import replace
from sqlalchemy.engine import make_url

from contracts.problems import InvalidBody, PositionAhead, Refused
from contracts.reading import (
    KEEPERS,
    CloseWebhook,
    DeadLetter,
    DeadLetters,
    OpenedWebhook,
    OpenWebhook,
    ReplayDeadLetter,
    WebhookId,
    Webhooks,
)
from contracts.webhooks import SECRET_BYTES, secret_text
from services.core.command import Handler
from services.core.fold import Given, Subject
from services.core.pages import NO_STORE
from services.core.park import Answer, Park
from services.core.reads import fits
from services.core.routes import asked, park_of, write_route
from services.reading import model
from services.reading.courier import Patience
from services.reading.letters import letter_id
from services.reading.places import Places, read_place
from services.reading.seal import Receiver, Seal
from services.reading.sender import Sender
from services.reading.states import OPENINGS, Opening
from services.reading.table import Table


def _openings(_command: Any, _given: Given) -> set[Subject]:
    return {(OPENINGS, "")}


OPEN: Final = Handler(OpenWebhook, _openings, model.open_webhook)
CLOSE: Final = Handler(CloseWebhook, _openings, model.close_webhook)


class Hooks:
    """One park's webhooks as the routes see them."""

    def __init__(self, park: Park, state: Any) -> None:
        self.table = Table(state.pool, park.park, park.clock)
        self.seal = Seal(state.outside, park.park)
        self.places = Places(park.log, state.pool)


def _hooks(request: Request[Any, Any, Any], park: Park) -> Hooks:
    hooks: dict[str, Hooks] = request.app.state.hooks
    return hooks[park.park]


async def open_webhook(request: Request[Any, Any, Any], park: Park, command: OpenWebhook, digest: bytes) -> Answer:
    """Address and secret are sealed first, then the event; a request that comes again finds what it has sealed, and is shown the secret no more."""
    plain, hooks = asked(request, park, digest), _hooks(request, park)
    model.host_of(command.url)
    if command.after is not None:
        await _must_be_a_place(hooks.places, command.after)
    receiver = Receiver(command.url, secret_text(secrets.token_bytes(SECRET_BYTES)))
    sealed = await asyncio.to_thread(hooks.seal.close, plain.id, receiver)
    fresh = await hooks.table.put(plain.id, command.webhook, sealed, park.clock.now())
    try:
        answer = await park.execute(OPEN, command, plain)
    except Refused:
        if fresh:
            await hooks.table.take_back(plain.id)
        raise
    if answer.receipt.repeat:
        return answer
    kept = hooks.seal.open(plain.id, await hooks.table.sealed(plain.id) or b"")
    return replace(answer, receipt=replace(answer.receipt, secret=kept.secret))


async def _must_be_a_place(places: Places, after: str) -> None:
    """Raises InvalidBody unless the log holds what lies behind it."""
    place = read_place(after)
    try:
        common = await places.common(place, "after")
    except PositionAhead as error:
        raise InvalidBody(error.detail, where="after") from None
    if common != place:
        raise InvalidBody(f"A restore has cut off what lay behind {common}: begin there.", where="after")


async def close_webhook(request: Request[Any, Any, Any], park: Park, command: CloseWebhook, digest: bytes) -> Answer:
    """The event first; then the secret is destroyed. A repeat finishes what was broken off."""
    answer = await park.execute(CLOSE, command, asked(request, park, digest))
    still_open = await _opened(park)
    await _hooks(request, park).table.shut(command.webhook, [one.id for one in still_open.values()])
    return answer


async def replay_dead_letter(
    request: Request[Any, Any, Any], park: Park, command: ReplayDeadLetter, digest: bytes
) -> Answer:
    """The event first; then the letter is marked for its courier, in whatever process that is."""
    table = _hooks(request, park).table
    opening = (await _opened(park)).get(command.webhook)
    last = None if opening is None else await table.last_of_dead(opening.id, command.first)
    handler = Handler(ReplayDeadLetter, _openings, partial(model.replay_dead_letter, last=last))
    answer = await park.execute(handler, command, asked(request, park, digest))
    if opening is not None and not answer.receipt.repeat:
        await table.replay(opening.id, command.first)
    return answer


async def _opened(park: Park) -> dict[str, Opening]:
    given, _ = await park.load(lambda _: {(OPENINGS, "")})
    return given.of(OPENINGS, "").open


@get("/parks/{park:str}/reading/webhooks", opt={"roles": KEEPERS})
async def webhooks(request: Request[Any, Any, Any], park: FromPath[str]) -> Response[Webhooks]:
    """Where events are sent to, and how far each receiver has come."""
    where = park_of(request, park)
    table, head = _hooks(request, where).table, await where.log.head()
    found = []
    for one in (await _opened(where)).values():
        standing = await table.standing(one.id)
        delivered = one.begins if standing.position is None else standing.position
        found.append(
            OpenedWebhook(
                webhook=one.webhook,
                host=one.host,
                types=tuple(sorted(one.wanted.types)),
                tags=tuple(sorted(one.wanted.tags)),
                opened_at=one.opened_at,
                delivered=delivered,
                behind=max(0, head.position - delivered),
                tries=standing.tries,
                why=standing.why,
                dead_letters=standing.dead_letters,
            )
        )
    return Response(Webhooks(epoch=head.epoch, position=head.position, webhooks=tuple(found)), headers=NO_STORE)


@get("/parks/{park:str}/reading/dead-letters", opt={"roles": KEEPERS})
async def dead_letters(request: Request[Any, Any, Any], park: FromPath[str]) -> Response[DeadLetters]:
    """The letters that a receiver would not take."""
    where = park_of(request, park)
    webhook = request.query_params.get("webhook")
    name = None if webhook is None else fits(webhook, WebhookId, "webhook")
    found = tuple(
        DeadLetter(
            webhook=one.webhook,
            id=letter_id(where.park, one.epoch, one.first, one.last),
            first=one.first,
            last=one.last,
            events=one.events,
            tries=one.tries,
            why=one.why,
            given_up_at=one.given_up_at,
            replaying=one.replay,
        )
        for one in await _hooks(request, where).table.dead(name)
    )
    return Response(DeadLetters(dead_letters=found), headers=NO_STORE)


def senders(patience: Patience = Patience()) -> Callable[[Litestar], Any]:  # noqa: B008 - it is frozen
    """A sender for every park, at work while the application is."""

    @asynccontextmanager
    async def at_work(app: Litestar) -> AsyncIterator[None]:
        state = app.state
        state.hooks = {name: Hooks(park, state) for name, park in state.parks.items()}
        url = make_url(state.pool.url).set(drivername="postgresql").render_as_string(hide_password=False)
        async with anyio.create_task_group() as tasks:
            for name, park in state.parks.items():
                hooks: Hooks = state.hooks[name]
                sender = Sender(park, hooks.table, hooks.seal, lambda: asyncpg.connect(url), patience)
                state.projectors[name].hear(sender.hear)
                tasks.start_soon(sender.run)
            yield
            tasks.cancel_scope.cancel()

    return at_work


ROUTES: Final[tuple[HTTPRouteHandler, ...]] = (
    write_route(OpenWebhook, open_webhook, secret=True),
    write_route(CloseWebhook, close_webhook),
    write_route(ReplayDeadLetter, replay_dead_letter),
    webhooks,
    dead_letters,
)
