"""The access report: all that is kept about one person, opened for that person. No personal data are read without a trace."""

from datetime import datetime
from typing import Any
from uuid import UUID, uuid4

from contracts import leaf
from contracts.envelope import Command, Data, Recorded
from contracts.vault import CAUTIONS, AccessReport, DetailKept, Kept, Mention, ReportMade
from services.core.command import Handler, Moment, must_know
from services.core.fold import Given
from services.core.park import Asked, Caller, Park, digest_of
from services.core.rules import RULES, operating_day
from services.core.times import Contact
from services.vault import model
from services.vault.claims import claims_until
from services.vault.safe import Vault, opened
from services.vault.sealing import Label, PersonKey
from services.vault.states import ERASURES, LIFE


class _Look(Command, frozen=True, kw_only=True):
    """No route takes it: whoever asks for the report leaves it."""

    FACT = True
    person: str


def _decide(command: _Look, _: Given, __: Moment) -> list[Data]:
    return [ReportMade(person=command.person)]


_LOOK = Handler(_Look, lambda _command, _given: (), _decide)


async def access_report(park: Park, vault: Vault, person: str, who: Caller) -> AccessReport:
    """Put on the record who looks, durably, then open what there is; raises UnknownSubject."""
    now = park.clock.now()
    given, _ = await park.load(lambda given: {(ERASURES, ""), *model.lives(person, given)})
    life = given.of(LIFE, person)
    must_know(life.registered or life.erased, f"person:{person}")
    answer = await park.execute(_LOOK, _Look(person=person), _asked(person, who, now))
    events = await _events(park, [f"person:{person}", *(f"player:{player}" for player in life.players)])
    rules = given.of(RULES, "").rules
    erasure = given.of(ERASURES, "").erased.get(person)
    return AccessReport(
        park=park.park,
        person=person,
        made_at=answer.receipt.recorded_at,
        position=answer.receipt.position,
        age_band=life.ages[-1][1] if life.ages else None,
        erased_at=erasure.at if erasure else None,
        details=await _details(vault, person, [one for one in events if isinstance(one.data, DetailKept)]),
        players=life.players,
        events=tuple(_mention(one) for one in events if not isinstance(one.data, ReportMade)),
        looked=tuple(_mention(one) for one in events if isinstance(one.data, ReportMade)),
        in_the_way=tuple(model.in_the_way(person, given, operating_day(rules, now), rules)),
        claims_until=claims_until(life, rules.vault),
        cautions=CAUTIONS,
    )


def _asked(person: str, who: Caller, now: datetime) -> Asked:
    """Each look is one of its own."""
    return Asked(
        id=uuid4(),
        digest=digest_of("vault/persons", person.encode()),
        caller=who,
        contact=Contact(received_at=now),
    )


async def _events(park: Park, tags: list[str]) -> list[Recorded[Any]]:
    reading = await park.log.read(dict.fromkeys(tags, 0))
    rows = {row.position: row.leaf for rows in reading.events.values() for row in rows}
    return [leaf.decode(rows[position]) for position in sorted(rows)]


def _mention(event: Recorded[Any]) -> Mention:
    return Mention(
        position=event.position,
        id=event.id,
        type=event.type,
        occurred_at=event.occurred_at,
        recorded_at=event.recorded_at,
        device=event.device,
        actor=event.actor,
    )


async def _details(vault: Vault, person: str, events: list[Recorded[DetailKept]]) -> tuple[Kept, ...]:
    """His own details; what is kept under another person's key and only mentions him stays that person's."""
    key, sealed = await vault.key(person), await vault.details(person)
    return tuple(_kept(vault.park, event, key, sealed) for event in events if event.data.person == person)


def _kept(park: str, event: Recorded[DetailKept], key: PersonKey | None, sealed: dict[UUID, bytes]) -> Kept:
    data = event.data
    text, fault = _text(Label(park=park, person=data.person, entry=data.entry, kind=data.kind), event, key, sealed)
    return Kept(
        entry=data.entry,
        kind=data.kind,
        text=text,
        fault=fault,
        about=data.about,
        position=event.position,
        occurred_at=event.occurred_at,
        recorded_at=event.recorded_at,
        device=event.device,
        actor=event.actor,
    )


def _text(
    label: Label, event: Recorded[DetailKept], key: PersonKey | None, sealed: dict[UUID, bytes]
) -> tuple[str | None, str]:
    """The text, or the sentence why there is none."""
    if key is None:
        return None, "It cannot be read any more: the key of this person has been destroyed."
    if event.id not in sealed:
        return None, "It is on the record but not in the vault: look for it in a backup of the database."
    text = opened(key, label, sealed[event.id])
    if text is None or key.digest(label, text) != event.data.digest:
        return None, "What lies in the vault is not what was recorded: it has been changed, or exchanged for another."
    return text, ""
