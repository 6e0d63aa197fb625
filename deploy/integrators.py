"""Those who read along on the bus: who they are, what each may read, and their secrets, in one private file of the state folder.

Each has an account of its own on the server. It is given the park's messages by import, of the services that it reads and nothing else; it may
publish nothing, so it can ask JetStream for nothing either. Whoever reads too slowly is dropped by the server, and nobody waits for him.
"""

import fcntl
import secrets
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Annotated, Any, Final

import msgspec
from msgspec import Meta, Struct

from contracts.catalogue import TYPES
from contracts.words import ParkId
from deploy.state import private_folder, replace_private

PARK_ACCOUNT: Final = "PARK"
CHECKPOINTS: Final = "checkpoints"
READABLE: Final = (*sorted({name.partition(".")[0] for name in TYPES.values()}), CHECKPOINTS)
"""What an integrator may be given: the events of one service each, or the signed checkpoints."""
CONNECTIONS: Final = 4
SUBSCRIPTIONS: Final = 32
"""Of one integrator at a time, at most."""
Name = Annotated[str, Meta(pattern=r"^[a-z][a-z0-9-]{0,31}$(?!\n)", description="Names one integrator.")]
TAKEN: Final = ("relay", "service")


class Integrator(Struct, frozen=True):
    """`park`: the one that it reads, all of them where it is None."""

    reads: tuple[str, ...]
    secret: str
    park: ParkId | None = None

    @property
    def subjects(self) -> tuple[str, ...]:
        park = self.park or "*"
        return tuple(f"checkpoint.{park}" if one == CHECKPOINTS else f"park.{park}.{one}.>" for one in self.reads)


Register = dict[Name, Integrator]


class NoSuchReading(Exception):  # noqa: N818 - what was asked for, not a mistake of the program
    """What is asked for cannot be given; the sentence says why."""


def register(state: Path) -> Register:
    """Every integrator, by name."""
    try:
        return msgspec.json.decode(_path(state).read_bytes(), type=Register)
    except FileNotFoundError:
        return {}


@contextmanager
def changing(state: Path) -> Iterator[Register]:
    """The register to be changed: kept at the end of the block, whole or not at all, while nobody else changes it."""
    with (private_folder(state) / "integrators.lock").open("a") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        found = register(state)
        yield found
        replace_private(_path(state), msgspec.json.format(msgspec.json.encode(found), indent=1))


def added(found: Register, name: str, reads: tuple[str, ...], park: str | None) -> Integrator:
    """Enter one more and give it its secret. Raises NoSuchReading with a sentence."""
    _fits(
        name,
        Name,
        f"The name {name!r} does not fit: lower-case letters, digits and hyphens, a letter first, at most 32.",
    )
    if name in TAKEN or name in found:
        raise NoSuchReading(f"There is an account {name} already. Take another name, or remove that one first.")
    strange = [one for one in reads if one not in READABLE]
    if strange or not reads:
        raise NoSuchReading(
            f"{strange[0] if strange else 'Nothing'} cannot be read. Give --reads with some of: {', '.join(READABLE)}."
        )
    if park is not None:
        _fits(park, ParkId, f"{park!r} names no park.")
    found[name] = Integrator(tuple(dict.fromkeys(reads)), secrets.token_urlsafe(24), park)
    return found[name]


def removed(found: Register, name: str) -> None:
    """Strike one. Raises NoSuchReading."""
    if found.pop(name, None) is None:
        raise NoSuchReading(f"There is no integrator {name}. There are: {', '.join(sorted(found)) or 'none'}.")


def accounts(users: list[dict[str, Any]], found: Mapping[str, Integrator]) -> dict[str, Any]:
    """The accounts of the server's configuration: the park's own with its users, and one for each integrator."""
    mine: dict[str, Any] = {"jetstream": "enabled", "users": users}
    if found:
        readers = [_account(name) for name in sorted(found)]
        mine["exports"] = [{"stream": subject, "accounts": readers} for subject in ("park.>", "checkpoint.>")]
    return {PARK_ACCOUNT: mine} | {_account(name): _reader(name, one) for name, one in sorted(found.items())}


def _reader(name: str, one: Integrator) -> dict[str, Any]:
    may = {"publish": {"deny": [">"]}, "subscribe": {"allow": list(one.subjects)}}
    return {
        "users": [{"user": name, "password": one.secret, "permissions": may}],
        "imports": [{"stream": {"account": PARK_ACCOUNT, "subject": subject}} for subject in one.subjects],
        "limits": {"max_connections": CONNECTIONS, "max_subscriptions": SUBSCRIPTIONS},
    }


def _account(name: str) -> str:
    return f"reader-{name}"


def _fits(value: str, kind: Any, otherwise: str) -> None:
    try:
        msgspec.convert(value, kind)
    except msgspec.ValidationError:
        raise NoSuchReading(otherwise) from None


def _path(state: Path) -> Path:
    return state / "integrators.json"
