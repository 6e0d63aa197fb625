"""The vault on real servers: what is personal lies nowhere but there, sealed; what is erased stays erased; who looks is on the record."""

import hashlib
import os
import subprocess
from pathlib import Path
from urllib.parse import urlsplit
from uuid import uuid4

import psycopg
import pytest
from litestar.exceptions import HTTPException

from contracts import leaf
from contracts.problems import Unavailable
from contracts.rules import DEFAULT
from deploy.account import server_account
from deploy.binaries import program
from deploy.postgres import WHEEL
from services.vault import api
from services.vault.ledger import reapply
from services.vault.safe import Vault
from tests.integration.live import serving

pytestmark = pytest.mark.timeout(120)

NAME, BORN, PHONE = "Wilhelmina Quellbrook", "2001-02-29x", "+99 555 0100 0117"
NOTE = "Says her left knee was operated on at midsummer; wants nobody told."
SECRETS = ("Wilhelmina", "Quellbrook", "0100 0117", "left knee", "midsummer")
OLD = {"version": "larchmoor-swift", "vault": {"claims_years": 0}}
"""Under these rules no claims are waited for, so that a test need not wait for years."""


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
    made(live.post("vault/keep-detail", {"person": person, "entry": f"n-{person}", "kind": "name", "text": NAME}, actor="staff-wren"))
    keep(live, person, about={"incident": "incident-1"})
    found = report(live, person)
    name, note = found["details"]
    assert (name["kind"], name["text"], name["actor"], name["device"]) == ("name", NAME, "staff-wren", "device-everything")
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
