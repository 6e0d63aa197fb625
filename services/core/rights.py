"""Who may do what: the meet of what the device is for and of what the person at it is qualified for, on the day that it happened.

A person whom the record does not know, or none, leaves the device's own rights: a park that keeps no record of its staff's qualifications can work all
the same. What any staff may do is nobody's qualification: whoever's papers ran out yesterday may still call STOP and first aid today.
"""

from collections.abc import Iterable
from datetime import date, datetime
from typing import Final, get_args

from msgspec import Struct

from contracts.duty import Post, Qualification, StaffRegistered
from contracts.envelope import Command, Recorded
from contracts.problems import NotAllowed
from contracts.words import Role
from services.core.fold import Fold

POSTS: Final[frozenset[Role]] = frozenset(get_args(Post))
_ALSO: Final[dict[str, frozenset[Role]]] = {"head_referee": frozenset({"referee"})}
"""A head referee may referee."""


class Actor(Struct, frozen=True):
    """One member of staff, as far as the record knows what he is qualified for."""

    staff: str
    qualifications: tuple[Qualification, ...] = ()
    since: tuple[datetime, int] | None = None
    """When he was last registered, and its position; None: the record does not know him."""

    def roles(self, day: date) -> frozenset[Role]:
        """What he may do on a day: each qualification holds to the end of its last day."""
        held: frozenset[Role] = frozenset(one.post for one in self.qualifications if one.until >= day)
        return held.union(*(_ALSO.get(post, frozenset()) for post in held))


def _registered(actor: Actor, event: Recorded[StaffRegistered]) -> Actor:
    """By when it happened: a registration that is told late replaces none that came after it."""
    since = (event.occurred_at, event.position)
    if actor.since is not None and since < actor.since:
        return actor
    return Actor(actor.staff, event.data.qualifications, since)


ACTOR: Fold[Actor] = Fold("rights.actor", "staff", Actor, {StaffRegistered: _registered})


def meet(device: frozenset[Role], actor: Actor, day: date, command: type[Command]) -> frozenset[Role]:
    """The roles in which a command is decided; raises NotAllowed where device and person have none in common that it takes."""
    if actor.since is None or command.ROLES >= POSTS:
        return device
    held = actor.roles(day)
    if not device & held & command.ROLES:
        raise NotAllowed(
            f"This takes one of {named(command.ROLES)}. The device is for {named(device)}; staff {actor.staff} was qualified for "
            f"{named(held)} on {day.isoformat()}. Let somebody do it who is qualified, or have a manager renew the qualification."
        )
    return device & held


def named(roles: Iterable[str]) -> str:
    """Roles as a person reads them, in order."""
    return ", ".join(sorted(one.replace("_", " ") for one in roles)) or "nothing"
