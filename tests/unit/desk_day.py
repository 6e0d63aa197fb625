"""A Saturday at the desk: who came, with which papers, and what the gate would say to him, gear aside."""

from datetime import datetime, timedelta
from typing import Any

from contracts.envelope import Reason
from contracts.games import ConfigureField
from contracts.park import AdoptRules
from contracts.registration import (
    GiveConsent,
    HoldBriefing,
    RecordPayment,
    RegisterPerson,
    RegisterPlayer,
    SignWaiver,
)
from contracts.rules import BriefingRules, MoneyRules, Rules, WaiverRules
from deploy.services import SERVICES
from services.clearance import model
from services.core.rules import RULES
from tests.unit.scenario import NINE, Scenario

HANDLERS = [handler for service in SERVICES for handler in service.handlers]
GEAR = {"mask_missing", "marker_missing"}
"""What nobody has at the desk yet."""
_NUMBERS = {"ash": 1, "elm": 2, "kit": 3, "wren": 4, "owl": 5}


def clock(minutes: float) -> datetime:
    return NINE + timedelta(minutes=minutes)


def desk() -> Scenario:
    """Two fields: birch from 12 years on, fern from 8; it is nine."""
    park = Scenario(HANDLERS)
    park.when(ConfigureField(field="birch", title="Birch"))
    park.when(ConfigureField(field="fern", title="Fern", age_floor=8))
    return park


def person(park: Scenario, name: str, band: int = 18) -> str:
    """A record for somebody; his id as a person."""
    park.when(RegisterPerson(person=f"person-{name}", age_band=band))
    return f"person-{name}"


def came(park: Scenario, name: str, **more: Any) -> None:
    """Somebody who has a record gets his day pass."""
    number = _NUMBERS[name]
    named = {"player": name, "person": f"person-{name}", "day_pass": f"pass-{number}", "armband": number}
    park.when(RegisterPlayer(**named | more))


def sign(park: Scenario, name: str, wording: str = "w1", **more: Any) -> None:
    park.when(SignWaiver(person=f"person-{name}", wording=wording, **more))


def hear(park: Scenario, *names: str, version: int = 1, **more: Any) -> None:
    park.when(HoldBriefing(briefing="b1", version=version, players=names, **more))


def pay(park: Scenario, *names: str, payment: str = "pay1", amount: int = 2500, **more: Any) -> None:
    named: dict[str, Any] = {"purpose": "entry", "means": "card"}
    park.when(RecordPayment(payment=payment, players=names, amount_minor=amount, **named | more))


def ready(park: Scenario, name: str = "ash", band: int = 18, **more: Any) -> None:
    """Somebody who has all that the desk asks of an adult."""
    person(park, name, band)
    sign(park, name)
    came(park, name, **more)
    pay(park, name, payment=f"pay-{name}")
    hear(park, name)


def consent(park: Scenario, guardian: str = "mum", child: str = "kit", **more: Any) -> None:
    named: dict[str, Any] = {"relationship": "parent", "wording": "w1"}
    if "responsible" in more:
        more["responsible"] = f"person-{more['responsible']}"
    park.when(GiveConsent(person=f"person-{child}", guardian=f"person-{guardian}", **named | more))


def adopt(park: Scenario, version: str, **more: Any) -> None:
    parts: dict[str, Any] = {"briefing": BriefingRules, "waiver": WaiverRules, "money": MoneyRules}
    made = {name: parts[name](**value) if name in parts else value for name, value in more.items()}
    park.when(AdoptRules(rules=Rules(version=version, **made)))


def reasons(park: Scenario, name: str = "ash", field: str = "birch", day_pass: str | None = None) -> list[Reason]:
    given = park.load(lambda given: {(RULES, ""), *model.subjects(name, field)(given)})
    found = model.reasons(given, name, field, park.moment(), day_pass)
    return [one for one in found if one.code not in GEAR]


def codes(park: Scenario, name: str = "ash", field: str = "birch", day_pass: str | None = None) -> list[str]:
    return [one.code for one in reasons(park, name, field, day_pass)]
