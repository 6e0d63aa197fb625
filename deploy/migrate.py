"""Migrations: plain SQL files, applied in order of their names, each once and in a transaction of its own.

A runner of this size over SQL that reads like the specification was simpler than a migration library whose revisions
would only have wrapped the same SQL in strings.
"""

import asyncio
import hashlib
from pathlib import Path
from urllib.parse import quote, urlsplit, urlunsplit

import asyncpg

SERVICE_ROLE = "fieldledger_service"
MIGRATIONS = Path(__file__).with_name("migrations")
LOCK = 0x6669656C64  # "field": one migration at a time in a database


class MigrationRefusedError(Exception):
    """The database was migrated by other files than these."""


def migrate(admin_url: str, service_password: str) -> str:
    """Bring a database up to date and return the URL with which the service role reaches it.

    `admin_url` names a role that may create roles and schemas. Safe to call again, and from any thread without a
    running event loop. Raises MigrationRefusedError when an applied file has changed or is missing.
    """
    asyncio.run(_migrate(admin_url, service_password))
    return service_url(admin_url, service_password)


async def _migrate(admin_url: str, service_password: str) -> None:
    connection = await asyncpg.connect(admin_url)
    try:
        await connection.execute("SELECT pg_advisory_lock($1)", LOCK)
        await _ensure_service_role(connection, service_password)
        await _apply(connection)
    finally:
        await connection.close()


async def _ensure_service_role(connection: asyncpg.Connection, password: str) -> None:
    known = await connection.fetchval("SELECT true FROM pg_roles WHERE rolname = $1", SERVICE_ROLE)
    verb = "ALTER" if known else "CREATE"
    statement = await connection.fetchval(
        "SELECT format('%s ROLE %I LOGIN PASSWORD %L', $1::text, $2::text, $3::text)", verb, SERVICE_ROLE, password
    )
    await connection.execute(statement)


async def _apply(connection: asyncpg.Connection) -> None:
    await connection.execute(
        "CREATE TABLE IF NOT EXISTS public.migration"
        " (name text PRIMARY KEY, sha256 bytea NOT NULL, applied_at timestamptz NOT NULL DEFAULT now())"
    )
    files = {path.name: path.read_bytes() for path in sorted(MIGRATIONS.glob("*.sql"))}
    applied = dict(await connection.fetch("SELECT name, sha256 FROM public.migration"))
    for name, digest in applied.items():
        if name not in files or hashlib.sha256(files[name]).digest() != digest:
            raise MigrationRefusedError(f"{name} is not the file that this database was migrated with")
    for name, sql in files.items():
        if name in applied:
            continue
        async with connection.transaction():
            await connection.execute(sql.decode())
            await connection.execute(
                "INSERT INTO public.migration (name, sha256) VALUES ($1, $2)", name, hashlib.sha256(sql).digest()
            )


def service_url(admin_url: str, password: str) -> str:
    parts = urlsplit(admin_url)
    host = parts.netloc.rpartition("@")[2]
    return urlunsplit(parts._replace(netloc=f"{SERVICE_ROLE}:{quote(password, safe='')}@{host}"))
