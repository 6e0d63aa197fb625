"""Every event type and command by name, how an event's tags follow from its fields, and how old versions are brought up to date."""

import re
from collections.abc import Callable, Iterator
from types import ModuleType, UnionType
from typing import Annotated, Any, Union, get_args, get_origin, get_type_hints

import msgspec
from msgspec import Meta, Struct

from contracts import (
    devices,
    discipline,
    duty,
    equipment,
    evidence,
    games,
    incidents,
    park,
    reading,
    registration,
    vault,
    velocity,
)
from contracts.envelope import UNREADABLE, Command, Data, Unknown
from contracts.limits import Limit

SERVICES: tuple[ModuleType, ...] = (
    registration,
    equipment,
    velocity,
    discipline,
    games,
    duty,
    incidents,
    park,
    vault,
    evidence,
    reading,
    devices,
)

Getter = Callable[[Any], Any]


def _words(name: str, joint: str) -> str:
    return re.sub(r"(?<=[a-z0-9])(?=[A-Z])", joint, name).lower()


def _declared(base: type[Struct]) -> Iterator[tuple[str, type[Any]]]:
    for module in SERVICES:
        service = module.__name__.rpartition(".")[2]
        for value in vars(module).values():
            if isinstance(value, type) and issubclass(value, base) and value.__module__ == module.__name__:
                yield service, value


def _fields_of(data: Data) -> dict[str, Any]:
    return {name: getattr(data, name) for name in data.__struct_fields__}


def _tested(old: Any, readings: tuple[float, ...], **known: Any) -> velocity.MarkerTested:
    subjects = {"test": old.test, "marker": old.marker, "chrono": old.chrono}
    return velocity.MarkerTested(**subjects, readings_fps=readings, misreads=(), ball_g=None, rate_bps=None, **known)


OLD: dict[tuple[str, int], tuple[type[Data], Callable[[Any], Data]]] = {
    ("velocity.marker_tested", 1): (
        velocity.MarkerTestedV1,
        lambda old: _tested(old, old.readings, low_pressure=False, sealed=False, temperature_c=None),
    ),
    ("velocity.marker_tested", 2): (
        velocity.MarkerTestedV2,
        lambda old: _tested(
            old,
            old.readings_fps,
            low_pressure=old.low_pressure,
            sealed=old.sealed,
            temperature_c=old.temperature_c,
        ),
    ),
    ("velocity.chrono_checked", 1): (
        velocity.ChronoCheckedV1,
        lambda old: velocity.ChronoChecked(
            **_fields_of(old), readings_fps=(), reference_fps=(), signals=() if old.good else ("person",)
        ),
    ),
    ("park.day_closed", 1): (
        park.DayClosedV1,
        lambda old: park.DayClosed(closed=old.closed, still_here=None, minors_here=None),
    ),
    ("games.field_configured", 1): (
        games.FieldConfiguredV1,
        lambda old: games.FieldConfigured(**_fields_of(old), limit=Limit()),
    ),
    ("games.field_carried", 1): (
        games.FieldCarriedV1,
        lambda old: games.FieldCarried(**_fields_of(old), limit=Limit()),
    ),
    ("park.weather_recorded", 1): (park.WeatherRecordedV1, lambda old: park.WeatherRecorded(**_fields_of(old))),
}
"""Old versions still in some log, each with the one step that brings it to the newest."""

EVENTS: dict[str, type[Data]] = {
    f"{service}.{_words(data.__name__, '_')}": data
    for service, data in _declared(Data)
    if data not in {old for old, _ in OLD.values()}
}
TYPES: dict[type[Data], str] = {data: name for name, data in EVENTS.items()}
COMMANDS: dict[str, type[Command]] = {
    f"{service}/{_words(command.__name__, '-')}": command for service, command in _declared(Command)
}


def _each(inner: Getter) -> Getter:
    return lambda values: (found for value in values for found in inner(value))


def _attribute(name: str, inner: Getter) -> Getter:
    return lambda holder: () if (value := getattr(holder, name)) is None else inner(value)


def _extractors(hint: Any) -> Iterator[tuple[str, Getter]]:
    """Ways to every identifier below a value of this type, each with its tag's prefix."""
    origin, arguments = get_origin(hint), get_args(hint)
    if origin is Annotated:
        for meta in arguments[1:]:
            if isinstance(meta, Meta) and meta.extra and "tag" in meta.extra:
                yield meta.extra["tag"], lambda value: (value,)
                return
        yield from _extractors(arguments[0])
    elif origin in {Union, UnionType}:
        for argument in arguments:
            yield from _extractors(argument)
    elif origin is tuple and arguments:
        for prefix, inner in _extractors(arguments[0]):
            yield prefix, _each(inner)
    elif isinstance(hint, type) and issubclass(hint, Struct):
        yield from _fields(hint)


def _fields(struct: type[Struct]) -> Iterator[tuple[str, Getter]]:
    hints = get_type_hints(struct, include_extras=True)
    for name in struct.__struct_fields__:
        for prefix, inner in _extractors(hints[name]):
            yield prefix, _attribute(name, inner)


_EXTRACTORS: dict[type[Data], tuple[tuple[str, Getter], ...]] = {data: tuple(_fields(data)) for data in TYPES}

SUBJECTS: frozenset[str] = frozenset(
    {f"{prefix}:" for extractors in _EXTRACTORS.values() for prefix, _ in extractors}
    | {tag for data in TYPES for tag in data.ALSO}
)
"""Whatever a tag begins with, as `field:` does, or is as a whole, as `incidents` is."""


def tags_of(data: Data) -> tuple[str, ...]:
    """The tags of every subject that an event concerns, in the order of its fields, each once."""
    found = dict.fromkeys(f"{prefix}:{value}" for prefix, get in _EXTRACTORS[type(data)] for value in get(data))
    return (*found, *data.ALSO)


def carries_of(data: Data) -> tuple[str, ...]:
    """The tags whose story begins anew at this event."""
    return tuple(tag for tag in tags_of(data) if tag.partition(":")[0] in data.CARRIES)


_DECODERS: dict[tuple[str, int], tuple[msgspec.json.Decoder[Data], Callable[[Any], Data] | None]] = {
    **{(name, data.VERSION): (msgspec.json.Decoder(data), None) for name, data in EVENTS.items()},
    **{key: (msgspec.json.Decoder(data), upcast) for key, (data, upcast) in OLD.items()},
}


def decode_data(name: str, version: int, raw: bytes | msgspec.Raw) -> Data:
    """An event's data in its newest version; `Unknown` when this version of the software cannot read it."""
    known = _DECODERS.get((name, version))
    if known is None:
        return Unknown(type=name, version=version, why="unknown type or version", raw=bytes(raw))
    decoder, upcast = known
    try:
        data = decoder.decode(raw)
    except UNREADABLE as error:
        return Unknown(type=name, version=version, why=str(error), raw=bytes(raw))
    return upcast(data) if upcast else data
