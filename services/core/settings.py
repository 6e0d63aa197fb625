"""What a process is told from outside: environment variables, checked once at the start."""

from collections.abc import Mapping
from typing import Annotated

import msgspec

PREFIX = "FIELDLEDGER_"
STREAMS_PER_KEY = 64
"""Streams of events that one key may hold open at a time."""


class SettingsError(Exception):
    """An environment variable of ours is unknown or makes no sense."""


class Settings(msgspec.Struct, frozen=True, rename=lambda name: f"{PREFIX}STATE" if name == "state" else name.upper()):
    """Where the servers are, where to listen, and where state is kept; what is not set is embedded or has a default."""

    database_url: str | None = None
    nats_url: str | None = None
    nats_relay_url: str | None = None
    host: str = "127.0.0.1"
    port: Annotated[int, msgspec.Meta(ge=1, le=65535)] = 8080
    state: str | None = None
    streams_per_key: Annotated[int, msgspec.Meta(ge=1, le=10_000)] = STREAMS_PER_KEY


def read(environment: Mapping[str, str]) -> Settings:
    """The settings in an environment; an empty variable counts as unset. Raises SettingsError with a sentence."""
    known = [field.encode_name for field in msgspec.structs.fields(Settings)]
    strange = sorted(name for name in environment if name.startswith(PREFIX) and name not in known)
    if strange:
        raise SettingsError(f"{strange[0]} is not a setting. The settings are {', '.join(known)}.")
    given = {name: environment[name] for name in known if environment.get(name)}
    try:
        return msgspec.convert(given, Settings, strict=False)
    except msgspec.ValidationError as error:
        raise SettingsError(f"The environment does not make sense: {error}.") from None
