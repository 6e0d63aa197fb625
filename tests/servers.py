"""The real servers that tests run against: containers where a Docker engine answers, else the embedded ones."""

import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from deploy import embedded
from tests import containers


@contextmanager
def temporary_state() -> Iterator[Path]:
    """A state folder that the servers' account can enter, gone afterwards."""
    folder = Path(tempfile.mkdtemp(prefix="fieldledger-tests-"))
    folder.chmod(0o711)
    try:
        yield folder
    finally:
        shutil.rmtree(folder)


@contextmanager
def database_server() -> Iterator[str]:
    """A superuser's URL of a PostgreSQL of our own."""
    if containers.engine_answers():
        with containers.postgres() as url:
            yield url
        return
    with temporary_state() as state, embedded.postgres(state) as url:
        yield url


@contextmanager
def bus_server() -> Iterator[embedded.BusUrls]:
    """The two URLs of a NATS server of our own."""
    if containers.engine_answers():
        with containers.nats() as urls:
            yield urls
        return
    with temporary_state() as state, embedded.nats(state) as urls:
        yield urls
