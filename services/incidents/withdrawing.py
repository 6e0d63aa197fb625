"""An entry that was never so is withdrawn: nothing is deleted, and what followed from it stays until somebody entitled ends it.

A mistyped name may have impounded somebody's marker or kept his data. Whoever withdraws it is not the one to let go of evidence: a manager does that, by itself.
"""

from collections.abc import Iterable, Mapping
from typing import TypeVar

from msgspec.structs import replace

from contracts.envelope import Recorded
from contracts.incident_reads import Stays
from contracts.incidents import EntryWithdrawn, WithdrawEntry
from contracts.problems import NotInThatState, UnknownSubject
from services.incidents.entries import Entry, Withdrawn
from services.incidents.record import Incident, Release
from services.incidents.states import Fitness

E = TypeVar("E", bound=Entry)


def without(incident: Incident, event: Recorded[EntryWithdrawn]) -> Incident:
    """The record without an entry; what that said is kept beside it."""
    name = str(event.data.entry)
    gone = [one for one in incident.entries if one.entry == name]
    if not gone:
        return incident
    withdrawn = Withdrawn(
        entry=name,
        position=gone[0].place[1],
        kind=gone[0].kind,
        named=gone[0].named,
        says="; ".join(one.says for one in gone),
        slip=event.data.slip,
        at=event.occurred_at,
        holds=any(one.holds for one in gone),
        impounds=tuple(piece for one in gone for piece in one.impounds),
    )
    return replace(
        incident,
        accounts=_but(incident.accounts, name),
        told=_but(incident.told, name),
        looks=_but(incident.looks, name),
        handlings=_but(incident.handlings, name),
        withdrawn=(*incident.withdrawn, withdrawn),
    )


def _but(entries: tuple[E, ...], name: str) -> tuple[E, ...]:
    return tuple(one for one in entries if one.entry != name)


def withdrawal(command: WithdrawEntry, incident: Incident) -> EntryWithdrawn:
    """The withdrawal of an entry that stands; raises UnknownSubject, or NotInThatState where it is withdrawn already."""
    name = str(command.entry)
    if any(one.entry == name for one in incident.withdrawn):
        raise NotInThatState(f"Entry {name} of incident {command.incident} is withdrawn already.", where="$.entry")
    found = next((one for one in incident.entries if one.entry == name), None)
    if found is None:
        raise UnknownSubject(
            f"The record of incident {command.incident} has no entry {name}. Take its id from the list of incidents.",
            where="$.entry",
        )
    return EntryWithdrawn(
        incident=command.incident,
        entry=command.entry,
        kind=found.kind,
        slip=command.slip,
        field=next(iter(_named(found, "field")), None),
        game=next(iter(_named(found, "game")), None),
        players=_named(found, "player"),
        persons=_named(found, "person"),
        markers=_named(found, "marker"),
        masks=_named(found, "mask"),
        bottles=_named(found, "bottle"),
    )


def stays(
    withdrawn: Withdrawn, incident: Incident, releases: Mapping[str, Release], fitness: Mapping[str, Fitness]
) -> Iterable[Stays]:
    """What followed from a withdrawn entry, stands still, and is right by no entry that stands. `fitness`: of the players it named."""
    players = _named(withdrawn, "player")
    for player in players if withdrawn.kind == "injury" else ():
        if "injured" in fitness[player].causes and f"player:{player}" not in incident.casualties:
            yield Stays("unfit", f"Player {player} stays not fit to play until he is declared fit.", f"player:{player}")
    for piece in withdrawn.impounds:
        release = releases[piece].released
        if piece not in incident.pieces and (release is None or release[1] < withdrawn.position):
            yield Stays(
                "impounded", f"{piece.replace(':', ' ', 1)} stays impounded until a manager releases it.", piece
            )
    held = {tag for one in incident.entries if one.holds for tag in one.named}
    persons = [(f"player:{player}", fitness[player].person) for player in players]
    persons += [(f"person:{person}", person) for person in _named(withdrawn, "person")]
    for tag, person in persons if withdrawn.holds else ():
        if tag not in held and withdrawn.position > incident.unheld.get(person, 0):
            yield Stays(
                "held", f"What the vault keeps of {_whose(withdrawn, tag)} stays under legal hold until a manager lifts it for him.",
                None if withdrawn.kind == "witness" else tag,
            )  # fmt: skip


def _whose(withdrawn: Withdrawn, tag: str) -> str:
    return "whom it named as a witness" if withdrawn.kind == "witness" else tag.replace(":", " ", 1)


def _named(entry: Entry | Withdrawn, prefix: str) -> tuple[str, ...]:
    return tuple(name for kind, _, name in (tag.partition(":") for tag in entry.named) if kind == prefix)
