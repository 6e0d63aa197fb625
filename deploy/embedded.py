"""The two servers everything stands on: those named in the settings, or embedded ones."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from deploy.nats import BusUrls, nats
from deploy.postgres import postgres
from deploy.state import DEFAULT
from services.core.settings import Settings

__all__ = ["BusUrls", "Servers", "nats", "postgres", "servers"]


@dataclass(frozen=True)
class Servers:
    database_url: str
    bus: BusUrls


@contextmanager
def servers(settings: Settings) -> Iterator[Servers]:
    """Both servers, running for the block; the database starts first and stops last."""
    state = Path(settings.state).absolute() if settings.state else DEFAULT
    with _database(settings, state) as database_url, _bus(settings, state) as bus:
        yield Servers(database_url, bus)


@contextmanager
def _database(settings: Settings, state: Path) -> Iterator[str]:
    if settings.database_url:
        yield settings.database_url
        return
    with postgres(state) as url:
        yield url


@contextmanager
def _bus(settings: Settings, state: Path) -> Iterator[BusUrls]:
    if settings.nats_url:
        yield BusUrls(relay=settings.nats_relay_url or settings.nats_url, service=settings.nats_url)
        return
    with nats(state) as urls:
        yield urls
