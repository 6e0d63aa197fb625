"""The text of a checkpoint, and every way in which a text is none."""

import re
from datetime import UTC, datetime, timedelta, timezone

import pytest
from hypothesis import given
from hypothesis import strategies as st

from services.evidence.checkpoint import Checkpoint, CheckpointError, origin_of

ROOT = bytes(range(32))
ROOT64 = "AAECAwQFBgcICQoLDA0ODxAREhMUFRYXGBkaGxwdHh8="
AT = datetime(2026, 5, 9, 17, 30, 0, 250_000, tzinfo=UTC)
ORIGIN = "fieldledger/larchmoor/1"


def test_a_checkpoint_of_ours_says_whose_log_how_long_which_root_and_when():
    checkpoint = Checkpoint.at(origin_of("larchmoor", 1), 4711, ROOT, AT)
    assert checkpoint.text == f"{ORIGIN}\n4711\n{ROOT64}\n2026-05-09T17:30:00.250000Z\n"
    read = Checkpoint.parse(checkpoint.text)
    assert read == checkpoint
    assert (read.park, read.epoch, read.size, read.root, read.signed_at) == ("larchmoor", 1, 4711, ROOT, AT)


def test_a_time_of_another_zone_is_written_in_utc():
    summer = timezone(timedelta(hours=1))
    assert Checkpoint.at(ORIGIN, 1, ROOT, AT.astimezone(summer)).text.endswith("\n2026-05-09T17:30:00.250000Z\n")


@given(st.integers(0, 10**18 - 1), st.binary(min_size=32, max_size=32), st.datetimes(timezones=st.just(UTC)))
def test_what_is_written_is_read_again(size, root, at):
    checkpoint = Checkpoint.at(ORIGIN, size, root, at)
    assert Checkpoint.parse(checkpoint.text) == checkpoint
    assert checkpoint.signed_at == at


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("", "at least three lines"),
        (f"{ORIGIN}\n7\n", "at least three lines"),
        (f"{ORIGIN}\n7\n{ROOT64}", "at least three lines"),
        (f"\n7\n{ROOT64}\n", "no empty line"),
        (f"{ORIGIN}\n7\n{ROOT64}\n\n", "no empty line"),
        (f"{ORIGIN}\n07\n{ROOT64}\n", "without leading zeros, not '07'"),
        (f"{ORIGIN}\n-7\n{ROOT64}\n", "not '-7'"),
        (f"{ORIGIN}\n\u0667\n{ROOT64}\n", "is a decimal number"),
        (f"{ORIGIN}\n{10**18}\n{ROOT64}\n", "is a decimal number"),
        (f"{ORIGIN}\n7\nAAAA\n", "is 32 bytes in base64"),
        (f"{ORIGIN}\n7\n{ROOT64[:-2]}9=\n", "is 32 bytes in base64"),
        (f"{ORIGIN}\n7\n{ROOT64[:-1]}\n", "is 32 bytes in base64"),
    ],
)
def test_a_text_that_is_no_checkpoint_is_refused_with_what_is_wrong(text, sentence):
    with pytest.raises(CheckpointError, match=re.escape(sentence)):
        Checkpoint.parse(text)


@pytest.mark.parametrize(
    "origin", ["larchmoor", "fieldledger/larchmoor", "fieldledger/larchmoor/0", "fieldledger/a b/1"]
)
def test_an_origin_of_somebody_else_is_told_so(origin):
    checkpoint = Checkpoint(origin, 7, ROOT)
    for ask in (lambda: checkpoint.park, lambda: checkpoint.epoch):
        with pytest.raises(CheckpointError, match="is not fieldledger/<park>/<epoch>"):
            ask()


@pytest.mark.parametrize("extensions", [(), ("yesterday",), ("2026-05-09T17:30:00",), ("2026-05-09T18:30:00+01:00",)])
def test_a_checkpoint_that_does_not_say_when_it_was_signed_is_told_so(extensions):
    with pytest.raises(CheckpointError, match=r"The checkpoint('s time is not RFC 3339| does not say)"):
        _ = Checkpoint(ORIGIN, 7, ROOT, extensions).signed_at
