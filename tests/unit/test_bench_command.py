"""`fieldledger bench` from outside: what it sends, and that it sends the same again until the park has answered."""

from datetime import UTC, datetime

import httpx
import pytest

from deploy.commands import bench
from deploy.commands.bench import Station, stamped

AT = datetime(2026, 5, 9, 9, 0, 3, 120_000, tzinfo=UTC)


@pytest.mark.parametrize(
    ("line", "sent"),
    [
        ("281.4 fps\n", "2026-05-09T09:00:03.120+00:00 281.4 fps"),
        ("-- beam lost", "2026-05-09T09:00:03.120+00:00 -- beam lost"),
        ("2026-05-09T10:00:00+01:00 281.4 fps", "2026-05-09T10:00:00+01:00 281.4 fps"),
        ("# opening", "# opening"),
        ("\r\n", ""),
    ],
)
def test_a_line_bears_the_time_at_which_it_was_read_unless_it_bears_its_own(line, sent):
    assert stamped(line, AT) == sent


class Park:
    """Answers each request with the next of these; a refusal to connect where it is None."""

    def __init__(self, *answers):
        self.answers = list(answers)
        self.requests = []
        self.slept = []
        client = httpx.Client(transport=httpx.MockTransport(self.answer))
        self.station = Station(client, "http://park/parks/larchmoor", "bench-1", self.slept.append)

    def answer(self, request):
        self.requests.append(request)
        status, body = self.answers.pop(0)
        if status is None:
            raise httpx.ConnectError("nobody there")
        return httpx.Response(status, json=body)


def recorded(**more):
    return 200, {"lines": [{"line": 1, "outcome": "recorded", "position": 7} | more]}


AWAY = None, None
BROKEN = 503, {"detail": "The log cannot be reached."}
CONTENDED = 409, {"type": "/problems/contended", "detail": "Send the same again."}


def test_the_same_line_is_sent_under_the_same_key_until_it_is_answered(capsys):
    park = Park(AWAY, BROKEN, CONTENDED, recorded(marker="H027"))
    park.station.record("281.4 fps")
    assert {request.content for request in park.requests} == {b"281.4 fps"}
    assert len({request.headers["idempotency-key"] for request in park.requests}) == 1
    assert park.slept == [0.5, 1.0, 2.0]
    told = capsys.readouterr().out
    assert told.count("Waiting") == 1
    assert "281.4 fps  marker H027" in told


def test_it_waits_no_longer_than_ten_seconds_between_two_tries():
    park = Park(*[AWAY] * 8, recorded(marker="H027"))
    park.station.record("281.4 fps")
    assert park.slept == [0.5, 1.0, 2.0, 4.0, 8.0, 10.0, 10.0, 10.0]


def test_each_line_has_a_key_of_its_own_that_is_a_uuid_of_version_7():
    park = Park(recorded(), recorded())
    for line in ("281.4 fps", "281.4 fps"):
        park.station.record(line)
    first, second = (request.headers["idempotency-key"].strip('"') for request in park.requests)
    assert first != second
    assert first[14] == "7"


def test_a_full_string_is_told_with_its_verdict_and_every_field(capsys):
    fields = [{"line": "Birch 285 ft/s: pass"}, {"line": "Fern 230 ft/s: turn down 56 ft/s"}]
    last = {"test": "t1", "marker": "H027", "verdict": "some", "sentence": "Pass for Birch.", "fields": fields}
    park = Park(recorded(marker="H027", test="t1"), (200, {"last": last}))
    park.station.record("281.4 fps")
    told = capsys.readouterr().out
    assert "PASS FOR SOME  marker H027. Pass for Birch." in told
    assert "    Fern 230 ft/s: turn down 56 ft/s" in told


def test_the_verdict_of_another_test_is_not_told_for_this_one(capsys):
    other = {"test": "t2", "marker": "H028", "verdict": "pass", "sentence": "", "fields": []}
    Park(recorded(marker="H027", test="t1"), (200, {"last": other})).station.record("281.4 fps")
    assert "PASS" not in capsys.readouterr().out


def test_a_reading_of_no_marker_is_said(capsys):
    Park(recorded()).station.record("281.4 fps")
    assert "NO marker" in capsys.readouterr().out


def test_what_the_park_will_not_take_at_all_ends_it_with_what_is_not_recorded():
    refused = Park((401, {"detail": "That key opens nothing here."}))
    with pytest.raises(SystemExit) as ended:
        refused.station.record("281.4 fps")
    assert "opens nothing here" in str(ended.value)
    assert "Not recorded: 281.4 fps" in str(ended.value)


def test_an_empty_line_is_not_sent():
    park = Park()
    park.station.record("")
    assert park.requests == []


def test_every_verdict_has_a_word():
    assert set(bench._VERDICTS) == {"pass", "some", "turn_down", "inconclusive"}


class Unplugged:
    """A serial port that goes away after a line."""

    def __iter__(self):
        yield "281.4 fps\n"
        raise OSError(5, "Input/output error")


def test_where_the_chronograph_is_unplugged_what_came_is_sent_and_the_command_ends_with_a_sentence():
    lines = bench._as_they_come(Unplugged())
    assert next(lines).endswith("281.4 fps")
    with pytest.raises(SystemExit, match="no longer be read: Input/output error"):
        next(lines)
