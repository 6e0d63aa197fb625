"""Who was hurt: what the record holds of a player, as far as an insurer asks for it."""

from collections.abc import Iterator

from contracts.games import PlayerOut
from contracts.incidents import PlayerFit, PlayerUnfit
from contracts.registration import BriefingHeld, ConsentGiven, PlayerRegistered, WaiverSigned
from contracts.vault import DetailKept
from services.audit.cases.report import particulars
from services.audit.cases.report.asking import Asking
from services.audit.cases.report.content import Item
from services.audit.cases.report.moments import plainly


def person(asking: Asking, player: str) -> Iterator[Item]:
    registered = asking.standing(PlayerRegistered, player=player)[-1:]
    person = registered[0].data.person if registered else ""
    yield asking.item("Age band", registered, lambda one: f"at least {one.data.age_band} years")
    yield asking.item(
        "Waiver",
        asking.before(WaiverSigned, person=person)[-1:],
        lambda one: f"wording {one.data.wording}, in language {one.data.language}",
    )
    minor = bool(registered) and registered[0].data.age_band < asking.rules.waiver.majority_years
    if minor:
        yield asking.item("Guardian's authority", asking.before(ConsentGiven, person=person), particulars.consent)
    elif registered:
        yield Item("Guardian's authority", "none needed by the park's rules: of age", (registered[0].position,))
    yield asking.item(
        "Safety briefing and its language",
        [one for one in asking.before(BriefingHeld) if player in one.data.players],
        lambda one: f"version {one.data.version}, in language {one.data.language}",
    )
    yield _medical(asking, person)
    yield from asking.first_aid.casualty(player)
    yield asking.item(
        "Off the field", asking.standing(PlayerOut, player=player), lambda one: f"{plainly(one.data.cause)}"
    )
    yield asking.item(
        "Fitness", asking.standing(PlayerUnfit, PlayerFit, player=player),
        lambda one: f"not fit: {one.data.cause}" if isinstance(one.data, PlayerUnfit) else "declared fit",
    )  # fmt: skip


def _medical(asking: Asking, person: str) -> Item:
    """The record only knows that the vault holds something; it never says what."""
    kept = asking.standing(DetailKept, person=person, kind="medical")
    return asking.item("Medical declaration", kept, lambda _: "in the vault, released separately")
