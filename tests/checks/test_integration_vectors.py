"""What others have written down about ids, problems, leaves and times, against what our edges make of it. The source stands beside each."""

import hashlib
from datetime import UTC, datetime, timedelta, timezone
from uuid import UUID

import msgspec
import pytest
from litestar.datastructures import Headers

from contracts import problems
from contracts.answers import Problem
from contracts.leaf import leaf_hash
from contracts.problems import IdempotencyKeyMissing, IdempotencyKeyReused
from contracts.words import Instant
from services.core.routes import PROBLEM_JSON, _key
from tests.integration.conftest import live

__all__ = ["live"]

RFC_9562_UUIDV7 = "017F22E2-79B0-7CC3-98C4-DC0C0C07398F"
"""RFC 9562, appendix A.6: a UUIDv7 of Tuesday, February 22, 2022 2:22:22.00 PM GMT-05:00, unix_ts_ms 0x017F22E279B0 = 1645557742000."""


def milliseconds(key: UUID) -> int:
    """RFC 9562 §5.7: the first 48 bits of a UUIDv7 are Unix time in milliseconds."""
    return key.int >> 80


def key_of(value):
    """The key in a request whose header says this; None: it has no such header."""
    return _key(Headers({} if value is None else {"Idempotency-Key": value}))


def test_the_example_uuidv7_of_rfc_9562_is_taken_as_a_key_and_its_time_is_the_one_given_there():
    key = key_of(f'"{RFC_9562_UUIDV7}"')
    assert (key.version, key.variant) == (7, "specified in RFC 4122")
    assert milliseconds(key) == 1645557742000
    assert datetime.fromtimestamp(milliseconds(key) / 1000, UTC) == datetime(2022, 2, 22, 19, 22, 22, tzinfo=UTC)


# draft-ietf-httpapi-idempotency-key-header, §2.1: an Item Structured Header whose value is a String (RFC 8941 §3.3.3: in double
# quotes), with the example below; §2.7: 400 where it is missing, 422 where it was used with another payload.


def test_the_idempotency_key_is_a_quoted_string_as_in_the_drafts_example():
    """The quotes may be left out here: that is lenience of ours, not the draft's."""
    drafts = "8e03978e-40d5-43e8-bc93-6894a57f9324"
    assert key_of(f'"{drafts}"') == UUID(drafts)
    assert key_of(drafts) == UUID(drafts)


@pytest.mark.parametrize("value", [None, "", '""', '"game-3-on-birch"', '"17"'])
def test_a_key_that_is_missing_or_no_uuid_is_refused(value):
    """The draft takes any string and recommends a UUID (§2.2); here the key is also an event's id, so it must be one."""
    with pytest.raises(IdempotencyKeyMissing) as refusal:
        key_of(value)
    assert refusal.value.status == 400


def test_a_key_used_for_another_request_is_422_as_the_draft_has_it(live):
    assert IdempotencyKeyReused.status == 422
    key = {"idempotency_key": f'"{RFC_9562_UUIDV7}"'}
    assert live.post("velocity/register-chrono", {"chrono": "chrono-a"}, **key).status_code == 201
    again = live.post("velocity/register-chrono", {"chrono": "chrono-b"}, **key)
    assert (again.status_code, again.json()["type"]) == (422, "/problems/idempotency-key-reused")


def test_a_request_without_the_key_is_400_as_the_draft_has_it(live):
    headers = live.headers()
    del headers["Idempotency-Key"]
    response = live.send("velocity/register-chrono", b'{"chrono":"chrono-c"}', headers)
    assert (response.status_code, response.json()["type"]) == (400, "/problems/idempotency-key-missing")


def test_a_problem_has_the_members_and_media_type_of_rfc_9457(live):
    """RFC 9457 §3 (application/problem+json), §3.1: type and instance are URI references, title and detail strings, status the HTTP status."""
    response = live.send("velocity/register-chrono", b"[]", live.headers())
    body = response.json()
    assert response.headers["content-type"] == PROBLEM_JSON == "application/problem+json"
    assert {"type", "title", "status", "detail", "instance"} <= body.keys()
    assert body["status"] == response.status_code == 422
    assert all(isinstance(body[name], str) for name in ("type", "title", "detail", "instance"))


def test_every_problem_class_is_an_http_error_with_a_title():
    """RFC 9457 §3.1.3: the title does not change from occurrence to occurrence, so it stands on the class."""
    for kind in problems.every():
        assert 400 <= kind.status <= 599
        assert kind.title
    assert {"type", "title", "status", "detail", "instance"} <= set(Problem.__struct_fields__)


def test_the_challenge_of_a_401_is_the_bearer_scheme(live):
    """RFC 9110 §15.5.2: a 401 carries WWW-Authenticate; RFC 6750 §3: its scheme is Bearer."""
    response = live.http.post(f"/parks/{live.park}/velocity/register-chrono", json={})
    assert (response.status_code, response.headers["www-authenticate"]) == (401, "Bearer")


def test_the_hash_of_an_empty_leaf_is_that_of_the_public_vectors():
    """RFC 9162 §2.1.1 (as RFC 6962 §2.1): SHA-256(0x00 || leaf). The value is the root over one empty leaf in the reference vectors of Certificate Transparency."""
    expected = "6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d"
    assert leaf_hash(b"").hex() == expected == hashlib.sha256(b"\x00").hexdigest()


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("1985-04-12T23:20:50.52Z", datetime(1985, 4, 12, 23, 20, 50, 520_000, UTC)),
        ("1996-12-19T16:39:57-08:00", datetime(1996, 12, 20, 0, 39, 57, tzinfo=UTC)),
        ("1937-01-01T12:00:27.87+00:20", datetime(1937, 1, 1, 11, 40, 27, 870_000, UTC)),
    ],
)
def test_the_times_in_the_examples_of_rfc_3339_are_read_as_it_explains_them(text, expected):
    """RFC 3339 §5.8."""
    read = msgspec.convert(text, Instant)
    assert read == expected
    assert read.tzinfo is not None


def test_an_offset_of_rfc_3339_is_kept_beside_the_moment():
    """RFC 3339 §5.8, second example: 39 minutes and 57 seconds after the 16th hour with an offset of -08:00."""
    assert msgspec.convert("1996-12-19T16:39:57-08:00", Instant).utcoffset() == timedelta(hours=-8)


@pytest.mark.parametrize("text", ["1990-12-31T23:59:60Z", "1990-12-31T15:59:60-08:00"])
def test_a_leap_second_is_refused_where_rfc_3339_would_allow_it(text):
    """RFC 3339 §5.8, third and fourth example. Python's datetime has no second 60, so a device that claims one gets 422 and sends the second after."""
    with pytest.raises(msgspec.ValidationError, match="Invalid RFC3339"):
        msgspec.convert(text, Instant)


def test_a_device_that_claims_a_leap_second_is_told_so(live):
    body = {"chrono": "chrono-d", "occurred_at": "1990-12-31T23:59:60Z"}
    response = live.post("velocity/register-chrono", body)
    assert (response.status_code, response.json()["where"]) == (422, "$.occurred_at")


@pytest.mark.parametrize(
    "text", ["1985-04-12T23:20:50.52", "1985-04-12", "23:20:50Z", "1985-04-31T23:20:50Z", "1985-W15-5"]
)
def test_a_time_without_date_or_offset_is_none(text):
    """RFC 3339 §5.6: date-time = full-date "T" full-time, and full-time has an offset."""
    with pytest.raises(msgspec.ValidationError):
        msgspec.convert(text, Instant)


def test_what_we_write_is_rfc_3339_in_utc():
    """RFC 3339 §5.6: "Z" for UTC."""
    moment = datetime(1996, 12, 19, 16, 39, 57, tzinfo=timezone(timedelta(hours=-8)))
    assert msgspec.json.encode(moment.astimezone(UTC)) == b'"1996-12-20T00:39:57Z"'
