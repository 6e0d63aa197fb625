"""Whom a case is about, and what is his own: what may be told of it whole."""

from collections.abc import Iterable, Sequence

from contracts.discipline import CautionRecorded, CautionResolved
from contracts.envelope import Data
from contracts.incidents import IncidentRecorded, InjuryRecorded
from contracts.registration import ConsentGiven, GuardianLeft, MinorHandedOver, PlayerRegistered
from services.audit.cases.redaction import Own


def concerned(kind: str, subject: str, events: Sequence[Data]) -> tuple[str, ...]:
    """The players whom a case is about: himself, those named in an incident or by a caution in the end, a person's own days."""
    if kind == "player":
        return (subject,)
    if kind == "incident":
        return tuple(dict.fromkeys(player for one in events for player in _hurt(one)))
    if kind == "person":
        return tuple(one.player for one in events if isinstance(one, PlayerRegistered) and one.person == subject)
    if kind == "caution":
        named = [one.player for one in events if isinstance(one, CautionRecorded | CautionResolved) and one.player]
        return tuple(named[-1:])
    return ()


def _hurt(data: Data) -> tuple[str, ...]:
    if isinstance(data, IncidentRecorded):
        return data.players
    return (data.player,) if isinstance(data, InjuryRecorded) and data.player is not None else ()


def own_of(tag: str, players: tuple[str, ...], events: Sequence[Data]) -> Own:
    """What belongs to a case's players: themselves as persons, the adults who answer for them, their gear and numbers."""
    registered = [one for one in events if isinstance(one, PlayerRegistered) and one.player in players]
    persons = {one.person for one in registered}
    persons |= {tag.partition(":")[2]} if tag.startswith("person:") else set()
    for one in events:
        match one:
            case ConsentGiven(person=person, guardian=guardian, responsible=responsible) if person in persons:
                persons |= {guardian, *filter(None, [responsible])}
            case GuardianLeft(guardian=guardian, responsible=str(responsible)) if guardian in persons:
                persons.add(responsible)
            case MinorHandedOver(player=player, adult=adult) if player in players:
                persons.add(adult)
    gear = {f"{prefix}:{name}" for one in events for prefix, name in gear_of(one, players)}
    return Own(
        players=frozenset(players),
        persons=frozenset(persons),
        tags=frozenset({tag, *gear}),
        armbands=frozenset(one.armband for one in registered),
    )


def gear_of(data: Data, players: tuple[str, ...]) -> Iterable[tuple[str, str]]:
    """The gear that an event puts into, or takes out of, the hands of one of these players."""
    holders = {getattr(data, name, None) for name in ("player", "owner", "giver", "taker")}
    alone = isinstance(data, IncidentRecorded) and set(data.players) <= set(players)
    if not (holders & set(players) or alone):
        return
    for name in ("marker", "mask", "bottle", "returned", "markers", "masks"):
        value = getattr(data, name, None)
        prefix = "marker" if name == "returned" else name.removesuffix("s")
        for one in value if isinstance(value, tuple) else (value,):
            if isinstance(one, str):
                yield prefix, one
