"""The vault on real servers: what is personal lies nowhere but there, sealed; what is erased stays erased; who looks is on the record."""

import asyncio
import hashlib
import signal
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from uuid import uuid4

import httpx
import psycopg
import pytest
from anyio.from_thread import start_blocking_portal

from contracts import leaf
from deploy.account import server_account
from deploy.app import listening_socket, running
from deploy.binaries import program
from deploy.commands.asking import park_of
from deploy.commands.vault import access_of, sentences, told
from deploy.postgres import WHEEL
from deploy.services import PROJECTIONS, SERVICES
from services.core.clock import SystemClock
from services.evidence import tree
from services.vault.safe import Vault
from tests.databases import renamed
from tests.integration.live import ROLES, _Up

pytestmark = pytest.mark.timeout(120)

ROOT = Path(__file__).resolve().parents[2]
NAME, BORN, PHONE = "Wilhelmina Quellbrook", "1987-11-23", "+99 555 0100 0117"
SIGNATURE = "data:image/svg+xml,<svg><path d='M3 7 L19 23'/></svg>"
NOTE = "Says her left knee was operated on at midsummer; wants nobody told."
SECRETS = ("Wilhelmina", "Quellbrook", BORN, "0100 0117", "M3 7 L19 23", "left knee", "midsummer")
KINDS = {"name": NAME, "birth_date": BORN, "contact": PHONE, "signature": SIGNATURE, "medical": NOTE, "note": NOTE}
NO_CLAIMS = {"rules": {"version": "larchmoor-swift", "vault": {"claims_years": 0}}}
"""Under these rules no claims are waited for, so that a test need not wait for years."""
DIES_BEFORE_THE_EVENT = "services.core.park:Park.execute"
DIES_BEFORE_THE_LEDGER = "services.vault.outside:Outside.record"
DIES_BEFORE_THE_KEY_IS_GONE = "services.vault.safe:Vault.destroy"


def made(response, status=201):
    assert response.status_code == status, response.text
    return response.json()


@pytest.fixture
def person(live):
    name = f"person-{uuid4()}"
    made(live.post("registration/register-person", {"person": name, "age_band": 18}))
    return name


def keep(live, person, text=NOTE, kind="note", **more):
    body = {"person": person, "entry": f"detail-{uuid4()}", "kind": kind, "text": text} | more
    return body, live.post("vault/keep-detail", body)


def report(live, person):
    return made(live.get(f"/parks/{live.park}/vault/persons/{person}"), 200)


def texts(live, person):
    return [one["text"] for one in report(live, person)["details"]]


def test_what_is_kept_is_read_back_with_when_and_by_whom(live, person):
    made(
        live.post(
            "vault/keep-detail",
            {"person": person, "entry": f"n-{person}", "kind": "name", "text": NAME},
            actor="staff-wren",
        )
    )
    keep(live, person, about={"incident": "incident-1"})
    found = report(live, person)
    name, note = found["details"]
    assert (name["kind"], name["text"], name["actor"], name["device"]) == (
        "name",
        NAME,
        "staff-wren",
        "device-everything",
    )
    assert (note["text"], note["about"]) == (NOTE, {"incident": "incident-1", "caution": None, "player": None})
    assert name["fault"] == note["fault"] == ""
    assert found["age_band"] == 18
    assert any("local law" in caution for caution in found["cautions"])


def test_every_look_is_on_the_record_before_anything_is_shown(live, person):
    before = live.head()
    first, second = report(live, person), report(live, person)
    assert [one["position"] for one in second["looked"]] == [before + 1, before + 2]
    assert first["position"] == before + 1
    assert leaf.decode(live.leaf(before + 2)).type == "vault.report_made"
    answer = live.get(f"/parks/{live.park}/vault/persons/{person}", "manager")
    assert answer.headers["cache-control"] == "no-store"
    assert leaf.decode(live.leaf(live.head())).device == "device-manager"


@pytest.mark.parametrize("role", ["desk", "auditor", "first_aider", "integrator", "head_referee"])
def test_nobody_but_a_manager_reads_and_who_may_not_leaves_nothing(live, person, role):
    before = live.head()
    assert live.get(f"/parks/{live.park}/vault/persons/{person}", role).status_code == 403
    assert live.head() == before


def test_a_person_whom_nobody_knows_has_no_report_and_leaves_none(live):
    before = live.head()
    assert live.get(f"/parks/{live.park}/vault/persons/nobody").status_code == 404
    assert live.get(f"/parks/{live.park}/vault/persons/no%20body").status_code == 400
    assert live.head() == before


def test_a_repeat_is_answered_as_before_and_kept_once(live, person):
    headers = live.headers()
    body = {"person": person, "entry": f"n-{person}", "kind": "note", "text": NOTE}
    first, again = (
        live.http.post(f"/parks/{live.park}/vault/keep-detail", json=body, headers=headers) for _ in range(2)
    )
    assert made(again) | {"repeat": False} == made(first)
    assert texts(live, person) == [NOTE]
    other = live.http.post(f"/parks/{live.park}/vault/keep-detail", json=body | {"text": "Another."}, headers=headers)
    assert made(other, 422)["type"] == "/problems/idempotency-key-reused"
    elsewhere = live.http.post(f"/parks/{live.park}/vault/erase-person", json={"person": person}, headers=headers)
    assert made(elsewhere, 422)["type"] == "/problems/idempotency-key-reused"
    assert texts(live, person) == [NOTE]


def test_a_name_of_a_detail_that_is_taken_keeps_what_it_has(live, person):
    body, _ = keep(live, person)
    assert (
        made(live.post("vault/keep-detail", body | {"text": "Another."}), 409)["type"] == "/problems/already-recorded"
    )
    assert texts(live, person) == [NOTE]


def test_of_many_who_write_at_once_to_a_new_person_all_share_one_key(live, person):
    with ThreadPoolExecutor(8) as several:
        answers = list(several.map(lambda number: keep(live, person, f"Note {number}."), range(8)))
    assert {answer.status_code for _, answer in answers} == {201}
    assert sorted(texts(live, person)) == [f"Note {number}." for number in range(8)]


@pytest.mark.parametrize(
    "spoilt",
    [
        {"kind": NAME},
        {NAME: 1},
        {"about": {NAME: 1}},
        {"entry": NAME},
        {"text": ""},
        {"kind": "birth_date", "text": NAME},
    ],
)
def test_a_refusal_repeats_no_word_of_what_was_sent(live, person, spoilt):
    answer = live.post("vault/keep-detail", {"person": person, "entry": "e1", "kind": "note", "text": NOTE} | spoilt)
    assert answer.status_code == 422
    assert answer.json()["detail"]
    assert [secret for secret in SECRETS if secret in answer.text] == []


def test_while_claims_may_come_an_erasure_is_refused_on_the_record_and_all_is_still_readable(live, person):
    came(live, person)
    keep(live, person)
    problem = made(live.post("vault/erase-person", {"person": person}), 409)
    assert problem["type"] == "/problems/not-cleared"
    assert [one["code"] for one in problem["refusal"]["reasons"]] == ["claims_period"]
    assert "local law" in problem["detail"]
    assert leaf.decode(live.leaf(live.head())).type == "vault.erasure_refused"
    found = report(live, person)
    assert [one["text"] for one in found["details"]] == [NOTE]
    assert [one["code"] for one in found["in_the_way"]] == ["claims_period"]
    assert found["claims_until"] in found["in_the_way"][0]["sentence"]
    assert found["players"] == [f"player-{person}"]
    assert {"registration.player_registered", "vault.erasure_refused"} <= {one["type"] for one in found["events"]}


def came(live, person):
    made(
        live.post(
            "registration/register-player",
            {"player": f"player-{person}", "person": person, "day_pass": person, "armband": live.head()},
        )
    )


def test_what_is_erased_cannot_be_read_and_its_events_and_proofs_stand(live, person):
    keep(live, person)
    signed = [live.leaf(position) for position in range(1, live.head() + 1)]
    root = tree.root([leaf.leaf_hash(one) for one in signed])
    made(live.post("vault/erase-person", {"person": person}))
    (detail,) = report(live, person)["details"]
    assert detail["text"] is None
    assert "destroyed" in detail["fault"]
    assert report(live, person)["erased_at"]
    now = [leaf.leaf_hash(live.leaf(position)) for position in range(1, len(signed) + 1)]
    at = detail["position"] - 1
    proof = tree.inclusion_proof(lambda level, index: tree.root(now[index << level : index + 1 << level]), at, len(now))
    tree.verify_inclusion(now[at], at, len(now), proof, root)
    assert made(live.post("vault/keep-detail", {"person": person, "entry": "later", "kind": "note", "text": NOTE}), 409)
    assert made(live.post("vault/erase-person", {"person": person}), 409)["type"] == "/problems/not-in-that-state"


def test_the_service_may_neither_change_what_lies_in_the_vault_nor_empty_it(databases):
    database = databases.create()
    with psycopg.connect(database.url, autocommit=True) as connection:
        for statement in (
            "UPDATE vault.detail SET sealed = ''",
            "UPDATE vault.person_key SET wrapped = ''",
            "TRUNCATE vault.detail",
        ):
            with pytest.raises(psycopg.errors.InsufficientPrivilege):
                connection.execute(statement)
    databases.drop(database)


class Park:
    """A park `larchmoor` that is up, spoken to by one device."""

    def __init__(self, port, key):
        self.http = httpx.Client(base_url=f"http://127.0.0.1:{port}", timeout=20)
        self.key = key

    def post(self, command, body, key=None):
        headers = {"Authorization": f"Bearer {self.key}", "Idempotency-Key": f'"{key or uuid4()}"'}
        return self.http.post(f"/parks/larchmoor/{command}", json=body, headers=headers)

    def get(self, path):
        return self.http.get(f"/parks/larchmoor/{path}", headers={"Authorization": f"Bearer {self.key}"})

    def report(self, person):
        return made(self.get(f"vault/persons/{person}"), 200)

    @property
    def device(self):
        return self.key.partition(".")[0]


@contextmanager
def up_here(url, outside):
    """In this process, as often as one likes."""
    made = listening_socket("127.0.0.1", 0)
    whole = partial(running, url, None, ["larchmoor"], SERVICES, PROJECTIONS, SystemClock(), outside)
    with start_blocking_portal() as portal, portal.wrap_async_context_manager(_Up(whole, made)) as up:
        device = (f"device-{uuid4()}", frozenset(ROLES), "test")
        yield Park(made.getsockname()[1], portal.call(up.devices.enrol, "larchmoor", *device))


@contextmanager
def up_elsewhere(url, outside, *dies):
    """In a process of its own, whose standard error is kept beside what lies outside."""
    with (outside / "service.log").open("ab") as log:
        process = subprocess.Popen(
            [sys.executable, "-m", "tests.integration.vault_process", url, str(outside), "larchmoor", *dies],
            cwd=ROOT,
            stdout=subprocess.PIPE,
            stderr=log,
            text=True,
        )
        try:
            yield Park(*process.stdout.readline().split())
        finally:
            if not dies:
                process.kill()
            code = process.wait(10)
            process.stdout.close()
            assert not dies or code == -signal.SIGKILL, "it did not die where it was to"


@pytest.fixture
def stand(database, tmp_path):
    """Starts the park on one database and one folder outside, again and again: here, or elsewhere to be killed at `dies`."""
    keys = []

    @contextmanager
    def start(dies="", url=database.url, *, elsewhere=False):
        how = up_elsewhere(url, tmp_path, *[dies] * bool(dies)) if dies or elsewhere else up_here(url, tmp_path)
        with how as park, park.http:
            keys.append(park.key)
            park.key = keys[0]
            yield park

    return start


@pytest.fixture
def settled(stand):
    """Somebody is registered and may be erased."""
    with stand() as park:
        made(park.post("park/adopt-rules", NO_CLAIMS))
        made(park.post("registration/register-person", {"person": "ash", "age_band": 18}))


DETAIL = {"person": "ash", "entry": "d1", "kind": "note", "text": NOTE}


def rows(url, query):
    with psycopg.connect(url) as connection:
        return connection.execute(query).fetchall()


@pytest.mark.usefixtures("settled")
def test_whoever_dies_between_vault_and_event_has_kept_nothing_and_heals_when_he_comes_again(stand, database):
    key = uuid4()
    with stand(DIES_BEFORE_THE_EVENT) as park, pytest.raises(httpx.TransportError):
        park.post("vault/keep-detail", DETAIL, key)
    sealed = rows(database.url, "SELECT event, sealed FROM vault.detail")
    assert [event for event, _ in sealed] == [key]
    assert rows(database.url, "SELECT FROM log.event WHERE type = 'vault.detail_kept'") == []
    with stand() as park:
        assert park.report("ash")["details"] == []
        made(park.post("vault/keep-detail", DETAIL, key))
        assert [one["text"] for one in park.report("ash")["details"]] == [NOTE]
        other = park.post("vault/keep-detail", DETAIL | {"entry": "d2"})
        assert made(other)["repeat"] is False
    assert rows(database.url, "SELECT event, sealed FROM vault.detail ORDER BY kept_at")[0] == sealed[0]


@pytest.mark.usefixtures("settled")
def test_a_key_that_sealed_something_before_it_died_takes_no_other_text(stand):
    key = uuid4()
    with stand(DIES_BEFORE_THE_EVENT) as park, pytest.raises(httpx.TransportError):
        park.post("vault/keep-detail", DETAIL, key)
    with stand() as park:
        changed = park.post("vault/keep-detail", DETAIL | {"text": "Another."}, key)
        assert made(changed, 422)["type"] == "/problems/idempotency-key-reused"
        made(park.post("vault/keep-detail", DETAIL | {"text": "Another."}))
        assert [one["text"] for one in park.report("ash")["details"]] == ["Another."]


@pytest.mark.usefixtures("settled")
def test_an_erasure_that_comes_in_the_middle_of_keeping_leaves_nothing_behind(stand, database, monkeypatch):
    put = Vault.put

    with stand() as park:
        made(park.post("vault/keep-detail", DETAIL))

        async def slower(*what):
            made(await asyncio.to_thread(park.post, "vault/erase-person", {"person": "ash"}))
            await put(*what)

        monkeypatch.setattr(Vault, "put", slower)
        problem = made(park.post("vault/keep-detail", DETAIL | {"entry": "d2"}), 409)
    assert problem["type"] == "/problems/not-in-that-state"
    assert rows(database.url, "SELECT FROM vault.person_key") == []
    assert rows(database.url, "SELECT FROM vault.detail") == []
    assert len(rows(database.url, "SELECT FROM log.event WHERE type = 'vault.detail_kept'")) == 1


@pytest.mark.parametrize("dies", [DIES_BEFORE_THE_LEDGER, DIES_BEFORE_THE_KEY_IS_GONE])
@pytest.mark.usefixtures("settled")
def test_an_erasure_that_was_broken_off_is_finished_at_the_next_start(stand, database, tmp_path, dies):
    key = uuid4()
    with stand() as park:
        made(park.post("vault/keep-detail", DETAIL))
    with stand(dies) as park, pytest.raises(httpx.TransportError):
        park.post("vault/erase-person", {"person": "ash"}, key)
    ledger = tmp_path / "erasures-larchmoor.txt"
    assert ledger.exists() is (dies == DIES_BEFORE_THE_KEY_IS_GONE)
    assert len(rows(database.url, "SELECT FROM vault.person_key")) == 1
    with stand() as park:
        assert rows(database.url, "SELECT FROM vault.person_key") == []
        assert rows(database.url, "SELECT FROM vault.detail") == []
        assert [line.split(" ")[1:] for line in ledger.read_text().splitlines()] == [["ash", str(key)]]
        assert made(park.post("vault/erase-person", {"person": "ash"}, key))["repeat"] is True
        assert park.report("ash")["details"][0]["text"] is None


def run(name, url, *arguments, **more):
    """One of PostgreSQL's own programs, on this database."""
    tool = str(program(WHEEL, name, server_account()))
    return subprocess.run([tool, *arguments, f"--dbname={url}"], check=True, capture_output=True, **more).stdout


@pytest.fixture
def restored(database):
    """Makes a database of a dump."""
    name = f"restored_{uuid4().hex[:8]}"
    with psycopg.connect(database.admin_url, autocommit=True) as connection:
        connection.execute(f'CREATE DATABASE "{name}"'.encode())

    def restore(dump):
        run("psql", renamed(database.admin_url, name), "--quiet", "--set=ON_ERROR_STOP=1", input=dump)
        return renamed(database.url, name)

    yield restore
    with psycopg.connect(database.admin_url, autocommit=True) as connection:
        connection.execute(f'DROP DATABASE "{name}" WITH (FORCE)'.encode())


@pytest.mark.usefixtures("settled")
def test_an_erasure_outlives_the_restore_of_an_older_backup(stand, database, restored, tmp_path):
    with stand() as park:
        made(park.post("registration/register-person", {"person": "elm", "age_band": 18}))
        made(park.post("vault/keep-detail", DETAIL))
        made(park.post("vault/keep-detail", DETAIL | {"person": "elm", "entry": "d2", "text": "Hers stays."}))
        backup = run("pg_dump", database.admin_url)
        erasure = made(park.post("vault/erase-person", {"person": "ash"}))["events"][0]["id"]
    ledger = (tmp_path / "erasures-larchmoor.txt").read_text()
    url = restored(backup)
    assert rows(url, "SELECT person FROM vault.person_key ORDER BY person") == [("ash",), ("elm",)]
    with stand(url=url) as park:
        assert rows(url, "SELECT person FROM vault.person_key") == [("elm",)]
        assert rows(url, "SELECT person FROM vault.detail") == [("elm",)]
        found = park.report("ash")
        assert [one["text"] for one in found["details"]] == [None]
        assert "vault.erasure_reapplied" in [one["type"] for one in found["events"]]
        assert found["erased_at"] == ledger.split(" ")[0].replace("+00:00", "Z")
        assert [one["text"] for one in park.report("elm")["details"]] == ["Hers stays."]
        assert made(park.post("vault/keep-detail", DETAIL | {"entry": "d3"}), 409)
    ((again,),) = rows(url, "SELECT leaf FROM log.event WHERE type = 'vault.erasure_reapplied'")
    assert str(leaf.decode(again).data.erasure) == erasure
    with stand(url=url):
        pass
    assert len(rows(url, "SELECT FROM log.event WHERE type = 'vault.erasure_reapplied'")) == 1, (
        "once, however often it starts"
    )
    assert (tmp_path / "erasures-larchmoor.txt").read_text() == ledger


@pytest.mark.usefixtures("settled")
def test_a_vault_whose_key_is_gone_is_closed_and_says_so_and_the_park_plays_on(stand, tmp_path):
    with stand() as park:
        made(park.post("vault/keep-detail", DETAIL))
    key = (tmp_path / "vault-larchmoor.key").rename(tmp_path / "away")
    with stand() as park:
        problem = made(park.post("vault/keep-detail", DETAIL | {"entry": "d2"}), 503)
        assert "vault-larchmoor.key is gone" in problem["detail"]
        assert not (tmp_path / "vault-larchmoor.key").exists()
        made(park.post("registration/register-person", {"person": "elm", "age_band": 18}))
        (tmp_path / "vault-larchmoor.key").write_text("ab" * 32)
        assert "Put back the right one" in made(park.post("vault/keep-detail", DETAIL | {"entry": "d2"}), 503)["detail"]
        key.rename(tmp_path / "vault-larchmoor.key")
        assert [one["text"] for one in park.report("ash")["details"]] == [NOTE]


@pytest.mark.usefixtures("settled")
def test_a_ledger_that_cannot_be_read_closes_the_vault_until_it_can(stand, tmp_path):
    ledger = tmp_path / "erasures-larchmoor.txt"
    ledger.write_text("nobody knows\n")
    with stand() as park:
        assert "Line 1 of erasures-larchmoor.txt" in made(park.post("vault/keep-detail", DETAIL), 503)["detail"]
        made(park.post("registration/register-person", {"person": "elm", "age_band": 18}))
        ledger.unlink()
        made(park.post("vault/keep-detail", DETAIL))


@pytest.mark.usefixtures("settled")
def test_from_the_terminal_too_all_is_opened_and_leaves_its_trace(stand, database, tmp_path):
    with stand() as park:
        made(park.post("vault/keep-detail", DETAIL))
    with start_blocking_portal() as portal:
        found = portal.call(access_of, database.url, tmp_path, None, "ash", "staff-wren")
        words = portal.call(in_words, database.url, found)
    text = " ".join(" ".join(told(found, words)).split())
    assert NOTE in text
    assert "Person ash was entered" in text
    assert not [event.type for event in found.events if event.type in text]
    assert "under no name" not in text
    assert "local law" in text
    assert [(look.device, look.actor) for look in found.looked] == [("terminal", "staff-wren")]
    assert rows(database.url, "SELECT device FROM log.event WHERE type = 'vault.report_made'") == [("terminal",)]
    assert [look["device"] for look in in_turn(stand)] == ["terminal", park.device]


async def in_words(url, report):
    async with park_of(url, report.park) as (_, park):
        return await sentences(park, report)


def in_turn(stand):
    with stand() as park:
        return park.report("ash")["looked"]


@pytest.mark.usefixtures("settled")
def test_what_is_exchanged_or_changed_in_the_vault_is_not_shown_as_what_was_recorded(stand, database):
    with stand() as park:
        for entry, text in (("d1", "The first."), ("d2", "The second.")):
            made(park.post("vault/keep-detail", DETAIL | {"entry": entry, "text": text}))
        with psycopg.connect(database.admin_url, autocommit=True) as owner:
            owner.execute(
                "UPDATE vault.detail SET sealed = (SELECT sealed FROM vault.detail WHERE entry = 'd2') WHERE entry = 'd1'"
            )
            owner.execute("DELETE FROM vault.detail WHERE entry = 'd2'")
        first, second = park.report("ash")["details"]
    assert (first["text"], second["text"]) == (None, None)
    assert "not what was recorded" in first["fault"]
    assert "not in the vault" in second["fault"]


@pytest.mark.usefixtures("settled")
def test_nothing_personal_lies_in_any_column_in_a_dump_outside_or_in_the_servers_own_lines(stand, database, tmp_path):
    """Every column of every table, a dump of all of it, the folder outside and what the process says: in plain text, hex and as a plain hash."""
    asked = []
    with stand(elsewhere=True) as park:
        for kind, text in KINDS.items():
            body = {"person": "ash", "entry": f"d-{kind}", "kind": kind, "text": text}
            asked.append(park.post("vault/keep-detail", body))
            made(asked[-1])
            park.post("vault/keep-detail", body | {"kind": NAME})
            park.post("vault/keep-detail", body | {NAME: text})
            park.post("vault/keep-detail", body | {"person": "nobody"})
        assert {one["text"] for one in park.report("ash")["details"]} == set(KINDS.values())
        metrics = park.get("metrics").text
    everything = b"\n".join(
        [
            *columns(database.admin_url),
            run("pg_dump", database.admin_url),
            *(path.read_bytes() for path in tmp_path.iterdir()),
            *(one.content for one in asked),
            metrics.encode(),
        ]
    )
    assert b"d-signature" in everything
    assert b"registration.person_registered".hex().encode() in everything, "leaves are searched as hex too"
    told = [secret for secret in SECRETS for form in forms(secret) if form in everything]
    told += [
        kind
        for kind, text in KINDS.items()
        for form in forms(hashlib.sha256(text.encode()).digest())
        if form in everything
    ]
    told += [
        f"the request of {one.request.read()[:60]}"
        for one in asked
        for form in forms(hashlib.sha256(b"vault/keep-detail\n" + one.request.read()).digest())
        if form in everything
    ]
    assert told == []


def columns(url):
    """Every value of every table of ours, as bytes."""
    with psycopg.connect(url) as connection:
        tables = connection.execute(
            "SELECT format('%I.%I', schemaname, tablename) FROM pg_tables WHERE schemaname !~ '^(pg_|information_schema)'"
        ).fetchall()
        assert {"log.event", "log.event_tag", "log.request", "projection.state", "vault.detail"} <= {
            name for (name,) in tables
        }
        for (table,) in tables:
            for row in connection.execute(f"TABLE {table}".encode()):
                yield from (bytes(value) if isinstance(value, bytes) else str(value).encode() for value in row)


def forms(secret):
    """A secret as it may lie somewhere."""
    plain = secret if isinstance(secret, bytes) else secret.encode()
    return plain, plain.hex().encode()
