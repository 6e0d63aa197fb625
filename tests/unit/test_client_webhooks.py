"""A letter to a webhook as its receiver takes it: the park's, of now, and whole, or refused with the type of what is wrong."""

import hmac
from base64 import b64encode
from datetime import UTC, datetime, timedelta
from hashlib import sha256

import pytest

from contracts.client import webhooks
from tests.unit.test_client_following import event

NOW = datetime(2026, 5, 9, 12, tzinfo=UTC)
SECRET = "whsec_" + b64encode(b"a secret of thirty-two bytes ...").decode()
BODY = b"[" + event(1) + b",\n" + event(2) + b"]\n"


def letter(body=BODY, sent=NOW, secret=b"a secret of thirty-two bytes ...", identity="larchmoor:1:1-2"):
    """Signed by plain code of this test's own."""
    seconds = str(int(sent.timestamp()))
    right = hmac.new(secret, b".".join((identity.encode(), seconds.encode(), body)), sha256).digest()
    return {
        "Webhook-Id": identity,
        "Webhook-Timestamp": seconds,
        "Webhook-Signature": f"v1a,c29tZXRoaW5n v1,{b64encode(right).decode()}",
    }


def test_a_letter_of_the_parks_is_read():
    found = webhooks.verify(SECRET, letter(), BODY, NOW + timedelta(minutes=4))
    assert [(one.epoch, one.position) for one in found] == [(1, 1), (1, 2)]


def test_a_receiver_need_not_say_what_time_it_is():
    now = datetime.now(UTC)
    assert len(webhooks.verify(SECRET, letter(sent=now), BODY)) == 2
    with pytest.raises(webhooks.LetterTooOld):
        webhooks.verify(SECRET, letter(sent=now - timedelta(minutes=6)), BODY)


@pytest.mark.parametrize(
    ("headers", "body", "kind"),
    [
        (letter(), BODY.replace(b"p1", b"p2"), webhooks.LetterNotGenuine),
        (letter(secret=b"another secret of 32 bytes, says"), BODY, webhooks.LetterNotGenuine),
        (letter() | {"Webhook-Id": "larchmoor:1:3-4"}, BODY, webhooks.LetterNotGenuine),
        (letter() | {"Webhook-Signature": "v1,"}, BODY, webhooks.LetterNotGenuine),
        (
            letter() | {"Webhook-Signature": "v2," + letter()["Webhook-Signature"].rpartition(",")[2]},
            BODY,
            webhooks.LetterNotGenuine,
        ),
        (letter(sent=NOW - timedelta(seconds=301)), BODY, webhooks.LetterTooOld),
        (letter(sent=NOW + timedelta(seconds=301)), BODY, webhooks.LetterFromTheFuture),
        (letter() | {"Webhook-Timestamp": "noon"}, BODY, webhooks.LetterHeaderMissing),
        (letter() | {"Webhook-Timestamp": "١٢"}, BODY, webhooks.LetterHeaderMissing),
        (letter() | {"Webhook-Signature": ""}, BODY, webhooks.LetterHeaderMissing),
        ({}, BODY, webhooks.LetterHeaderMissing),
        (letter(b"[1]"), b"[1]", webhooks.LetterNotGenuine),
    ],
)
def test_a_tampered_replayed_or_foreign_letter_is_refused_each_with_its_type(headers, body, kind):
    with pytest.raises(kind) as raised:
        webhooks.verify(SECRET, headers, body, NOW)
    assert raised.value.detail
    assert raised.value.remedy
    assert raised.value.type_uri().startswith("/problems/letter-")


@pytest.mark.parametrize("secret", ["", "whsec_", "whsec_c2hvcnQ=", "no base64 at all"])
def test_a_secret_that_anybody_could_guess_is_none(secret):
    with pytest.raises(ValueError, match="secret"):
        webhooks.verify(secret, letter(), BODY, NOW)
