"""Whatever the OpenAPI document allows, and much that it does not, is answered as the document says: to every role's key."""

import json
from collections import Counter
from typing import Any
from uuid import uuid4

import pytest
import schemathesis
from hypothesis import HealthCheck, Phase, seed, settings
from schemathesis.checks import not_a_server_error
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    response_headers_conformance,
    response_schema_conformance,
    status_code_conformance,
)

from contracts import openapi
from contracts.read import EVENT_STREAM
from contracts.reads import READS
from contracts.words import PlayerId
from tests.integration.live import ROLES

pytestmark = pytest.mark.timeout(300)

CHECKS = [
    not_a_server_error,
    status_code_conformance,
    content_type_conformance,
    response_headers_conformance,
    response_schema_conformance,
]
NAMES = ["ash", "elm", "oak"]
IDENTIFIER = PlayerId.__metadata__[0].pattern


def few_names(schema: Any) -> Any:
    """The document with three names for everything, so that one command meets what another has recorded."""
    if isinstance(schema, list):
        return [few_names(part) for part in schema]
    if not isinstance(schema, dict):
        return schema
    narrowed = {"enum": NAMES} if schema.get("pattern") == IDENTIFIER else {}
    if "prefixItems" in schema:  # 4.32 makes them `items`, and then refuses its own schema
        narrowed = {"items": {"anyOf": schema["prefixItems"]}}
    return {name: few_names(part) for name, part in schema.items() if name != "prefixItems"} | narrowed


@schemathesis.serializer("application/x-ndjson")
def lines(_context: Any, value: Any) -> bytes:
    """A batch of one line."""
    return json.dumps(value).encode() + b"\n"


# The enumerated cases of 4.32 take a minute to collect, and break on a default that is a list of objects.
CONFIG = schemathesis.Config.from_dict({"phases": {"coverage": {"enabled": False}}})
DOCUMENT = openapi.document()
schema = schemathesis.openapi.from_dict(few_names(DOCUMENT), config=CONFIG)
unending = {read.path for read in READS if read.media == EVENT_STREAM}
asked: Counter[str] = Counter()
answered: dict[str, set[int]] = {role: set() for role in ROLES}


@schema.exclude(path=sorted(unending)).parametrize()
@seed(20260509)
@settings(
    max_examples=4,
    deadline=None,
    database=None,
    phases=[Phase.explicit, Phase.generate],
    suppress_health_check=list(HealthCheck),
)
def test_every_answer_is_as_the_document_says_whoever_asks(case, live):
    """Each case is sent by the next of the roles that may ask; the first one by all that may not as well, who hear 403 and nothing else."""
    route = DOCUMENT["paths"][case.path][case.method.lower()]
    may = route.get("x-roles") or list(ROLES)
    number = asked[case.operation.label]
    asked[case.operation.label] += 1
    assert send(case, live, may[number % len(may)]) != 401
    if number == 0:
        for role in sorted(set(ROLES) - set(may)):
            assert send(case, live, role) in {None, 403}, role


def send(case, live, role):
    """The status of a case's answer under a role's key, held against the document; None where schemathesis kept the key to itself, which is 401 then."""
    if "park" in case.path_parameters:
        case.path_parameters["park"] = live.park
    headers = {"Authorization": f"Bearer {live.keys[role]}"}
    if str(case.headers.get("Idempotency-Key", "")).startswith('"'):
        headers["Idempotency-Key"] = f'"{uuid4()}"'
    answer = case.call_and_validate(base_url=live.url, headers=headers, checks=CHECKS)
    if "Authorization" not in answer.request.headers:
        assert answer.status_code == 401
        return None
    answered[role].add(answer.status_code)
    return answer.status_code


def test_every_role_was_let_in_somewhere_and_all_but_the_manager_kept_out_elsewhere():
    """Else the answers above would say nothing of it. It comes last."""
    for role, statuses in answered.items():
        assert statuses & {200, 201}, role
        assert (403 in statuses) or role == "manager"
