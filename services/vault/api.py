"""The vault's commands, the report, and the erasures that are carried out when the application starts."""

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from functools import partial
from typing import Any

import msgspec
import structlog
from litestar import Litestar, Request, Response, get
from litestar.params import FromPath

from contracts.problems import InvalidParameter, NotInThatState, Unavailable
from contracts.vault import MANAGER, AccessReport, ErasePerson, KeepDetail, LiftLegalHold, PlaceLegalHold
from contracts.words import PersonId
from services.core.command import Handler, Moment
from services.core.fold import Given, Subject
from services.core.park import Answer, Asked, Park
from services.core.plainly import plainly
from services.core.routes import asked, caller, park_of, write_route
from services.core.rules import RULES, operating_day
from services.core.service import Service
from services.core.times import occurred
from services.vault import model
from services.vault.ledger import reapply
from services.vault.report import access_report
from services.vault.safe import Vault
from services.vault.sealing import Label
from services.vault.states import ENTRY, LIFE

log = structlog.get_logger()
ERASE = Handler(ErasePerson, lambda command, given: model.lives(command.person, given), model.erase_person)


def _keeping(command: KeepDetail, _: Given) -> set[Subject]:
    return {(LIFE, command.person), (ENTRY, command.entry)}


async def keep(request: Request[Any, Any, Any], park: Park, command: KeepDetail, digest: bytes) -> Answer:
    """Vault first, then the event. Whoever dies in between leaves a sealed row that no event names, and heals it when he comes again."""
    vault = await _vault(request, park)
    plain = asked(request, park, digest)
    given, _ = await park.load(lambda given: _keeping(command, given))
    model.may_keep(command, given, _moment(command, given, plain))
    key = await vault.key_for(command.person, park.clock.now())
    label = Label(park=park.park, person=command.person, entry=command.entry, kind=command.kind)
    if not given.of(ENTRY, command.entry).kept:
        await vault.put(plain.id, label, command.text, key, park.clock.now())
    handler = Handler(KeepDetail, _keeping, partial(model.keep_detail, digest=key.digest(label, command.text)))
    keyed = msgspec.structs.replace(plain, digest=key.digest_of_request(plain.digest))
    try:
        return await park.execute(handler, command, keyed)
    except NotInThatState:  # erased since: what was sealed in the meantime goes too
        await reapply(park, vault)
        raise


def _moment(command: KeepDetail, given: Given, request: Asked) -> Moment:
    """The moment at which the command will be decided; raises ImpossibleTime."""
    rules = given.of(RULES, "").rules
    at = occurred(command, request.contact, rules).at
    return Moment(
        now=request.contact.received_at,
        occurred_at=at,
        day=operating_day(rules, at),
        rules=rules,
        position=0,
        device=request.caller.device,
        roles=request.caller.roles,
    )


async def erase(request: Request[Any, Any, Any], park: Park, command: ErasePerson, digest: bytes) -> Answer:
    """The event first, then the ledger outside, then the key is destroyed; a repeat finishes what was broken off."""
    vault = await _vault(request, park)
    answer = await park.execute(ERASE, command, asked(request, park, digest))
    if answer.refusal is None:
        await reapply(park, vault)
    return answer


@get("/parks/{park:str}/vault/persons/{person:str}", opt={"roles": MANAGER})
async def person_report(
    request: Request[Any, Any, Any], park: FromPath[str], person: FromPath[str]
) -> Response[AccessReport]:
    """All that is kept about one person; asking leaves an event of its own, before anything is opened."""
    where = park_of(request, park)
    try:
        name = msgspec.convert(person, PersonId)
    except msgspec.ValidationError as error:
        raise InvalidParameter(f"{plainly(error, PersonId)[0]}.", where="person") from None
    report = await access_report(where, await _vault(request, where), name, caller(request))
    return Response(report, headers={"Cache-Control": "no-store"})


async def _vault(request: Request[Any, Any, Any], park: Park) -> Vault:
    """The park's vault, once every erasure that is known has been carried out; raises VaultClosed."""
    vault: Vault = request.app.state.vaults[park.park]
    if not vault.settled:
        await reapply(park, vault)
    return vault


@asynccontextmanager
async def vaults(app: Litestar) -> AsyncIterator[None]:
    """A vault for each park; one that is closed says so, and the park plays on without it."""
    state = app.state
    state.vaults = {name: Vault(state.pool, state.outside, name) for name in state.parks}
    for name, vault in state.vaults.items():
        try:
            await reapply(state.parks[name], vault)
        except Unavailable as closed:
            log.warning("vault closed", park=name, why=closed.detail)
    yield


SERVICE = Service(
    "vault",
    (
        Handler(PlaceLegalHold, model.placing, model.place_legal_hold),
        Handler(LiftLegalHold, model.lifting, model.lift_legal_hold),
    ),
    (write_route(KeepDetail, keep, secret=True), write_route(ErasePerson, erase), person_report),
    (vaults,),
)
