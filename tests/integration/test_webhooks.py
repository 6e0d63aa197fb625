"""Webhooks on a live park: signed letters in order, receivers that fail, hang, hang up, refuse or are gone, and letters that are sent again."""

import time
from datetime import UTC, datetime, timedelta
from threading import Event

import msgspec
import pytest

from contracts.client.webhooks import LetterNotGenuine, LetterTooOld, verify
from contracts.words import Role
from services.reading import post
from tests.integration.live import ROLES
from tests.integration.receiver import receiving

pytestmark = pytest.mark.timeout(180)

KEEPERS: tuple[Role, ...] = ("auditor", "manager")


@pytest.fixture(scope="module")
def people(live):
    """Records so many people; the positions of these events."""
    numbers = iter(range(100_000))

    def record(count):
        found = []
        for _ in range(count):
            answer = live.post("registration/register-person", {"person": f"person-{next(numbers)}", "age_band": 18})
            assert answer.status_code == 201, answer.text
            found.append(answer.json()["position"])
        return found

    return record


class Hook:
    """One webhook at a live park, with its receiver."""

    def __init__(self, live, receiver, name, **more):
        self.live, self.receiver, self.name = live, receiver, name
        wanted = {"types": ["registration.*"]} | more
        self.headers = live.headers()
        self.body = {"webhook": name, "url": receiver.url} | wanted
        answer = live.http.post(f"/parks/{live.park}/reading/open-webhook", json=self.body, headers=self.headers)
        assert answer.status_code == 201, answer.text
        self.answer = answer.json()
        self.secret = self.answer["secret"]

    def state(self):
        found = self.live.get(f"/parks/{self.live.park}/reading/webhooks", "auditor").json()["webhooks"]
        return next(one for one in found if one["webhook"] == self.name)

    def dead(self):
        path = f"/parks/{self.live.park}/reading/dead-letters?webhook={self.name}"
        return self.live.get(path, "auditor").json()["dead_letters"]

    def close(self):
        assert self.live.post("reading/close-webhook", {"webhook": self.name}).status_code == 201


@pytest.fixture
def hook(live, request):
    """A webhook named after its test."""
    with receiving() as receiver:
        made = Hook(live, receiver, request.node.name[:60].replace("[", ".").replace("]", ""))
        yield made
        made.close()


def test_letters_arrive_in_order_once_and_signed_for_the_secret_that_was_shown(hook, people):
    expected = people(30)
    hook.receiver.until(lambda: hook.receiver.positions() == expected)
    for headers, body in hook.receiver.taken:
        told = verify(hook.secret, headers, body, datetime.now(UTC))
        assert [event.position for event in told] == [one["position"] for one in msgspec.json.decode(body)]
        assert headers["content-type"] == "application/json"
    assert len(set(hook.receiver.ids())) == len(hook.receiver.ids())
    assert hook.receiver.most_at_once == 1
    assert (hook.state()["why"], hook.state()["tries"]) == ("", 0)


def test_a_letter_that_was_tampered_with_or_kept_for_later_is_refused(hook, people):
    people(1)
    hook.receiver.until(lambda: bool(hook.receiver.taken))
    headers, body = hook.receiver.taken[0]
    now = datetime.now(UTC)
    for changed in (body.replace(b"18", b"16"), body[:-1], body + b" "):
        with pytest.raises(LetterNotGenuine):
            verify(hook.secret, headers, changed, now)
    for name, value in (("webhook-id", "larchmoor:1:1-1"), ("webhook-timestamp", str(int(now.timestamp()) + 1))):
        with pytest.raises(LetterNotGenuine):
            verify(hook.secret, headers | {name: value}, body, now)
    with pytest.raises(LetterTooOld):
        verify(hook.secret, headers, body, now + timedelta(seconds=302))


def test_a_receiver_that_fails_for_a_while_gets_the_same_letter_until_he_takes_it(hook, people):
    hook.receiver.rule = lambda number, _headers, _body: (500, 503, None, 429)[number - 1] if number < 5 else 200
    expected = people(3)
    hook.receiver.until(lambda: hook.receiver.positions() == expected)
    first = {headers["webhook-id"] for headers, _ in hook.receiver.letters[:5]}
    assert len(first) == 1
    assert len({headers["webhook-timestamp"] for headers, _ in hook.receiver.letters[:5]}) > 1
    assert len({body for _, body in hook.receiver.letters[:5]}) == 1
    assert hook.dead() == []


def test_a_receiver_that_hangs_is_given_up_waiting_for_and_holds_nobody_else_up(live, people, monkeypatch):
    monkeypatch.setattr(post.Post.__init__, "__defaults__", (time.time, 0.5))
    free = Event()
    with receiving() as hanging, receiving() as quick:
        hanging.rule = lambda _number, _headers, _body: (free.wait(20), 200)[1]
        slow, other = Hook(live, hanging, "hanging"), Hook(live, quick, "beside")
        expected = people(5)
        quick.until(lambda: quick.positions() == expected)
        deadline = time.monotonic() + 20
        while not slow.state()["why"]:
            assert time.monotonic() < deadline
            time.sleep(0.1)
        assert "did not answer within 0.5 s" in slow.state()["why"]
        assert slow.state()["behind"] > 0
        free.set()
        hanging.until(lambda: hanging.positions() == expected)
        slow.close()
        other.close()


def test_a_receiver_that_is_away_gets_everything_once_he_is_back(live, people):
    with receiving() as receiver:
        hook = Hook(live, receiver, "away")
        before = people(2)
        receiver.until(lambda: receiver.positions() == before)
        port = int(receiver.url.rsplit(":", 1)[1].split("/")[0])
    expected = people(3)
    time.sleep(1.0)
    assert "cannot be reached" in hook.state()["why"]
    with receiving(port) as receiver:
        receiver.until(lambda: receiver.positions() == expected)
    hook.close()


@pytest.mark.parametrize(
    ("status", "tries", "why"),
    [(410, 1, "gone for good"), (400, 5, "answered 400"), (307, 5, "nobody is led elsewhere")],
)
def test_a_letter_that_is_not_taken_is_listed_with_its_reason_the_next_one_goes_and_a_person_sends_it_again(
    live, people, status, tries, why
):
    with receiving() as receiver:
        hook = Hook(live, receiver, f"refusing-{status}")
        receiver.rule = lambda _number, _headers, _body: status
        (lost,) = people(1)
        receiver.until(lambda: len(receiver.letters) >= tries)
        receiver.rule = lambda _number, _headers, _body: 200
        after = people(2)
        receiver.until(lambda: receiver.positions() == after)
        (dead,) = hook.dead()
        assert (dead["first"], dead["last"], dead["events"], dead["tries"]) == (lost, lost, 1, tries)
        assert why in dead["why"]
        assert hook.state()["dead_letters"] == 1
        again = live.post("reading/replay-dead-letter", {"webhook": hook.name, "first": lost})
        assert again.status_code == 201, again.text
        receiver.until(lambda: dead["id"] in receiver.ids())
        deadline = time.monotonic() + 5
        while hook.dead():
            assert time.monotonic() < deadline
            time.sleep(0.05)
        assert receiver.positions() == [*after, lost]
        assert all(headers["webhook-id"] == dead["id"] for headers, _ in receiver.letters[:tries])
        gone = live.post("reading/replay-dead-letter", {"webhook": hook.name, "first": lost})
        assert gone.json()["type"] == "/problems/unknown-subject"
        hook.close()


def test_a_letter_sent_again_that_is_not_taken_stays_on_the_list(hook, people):
    hook.receiver.rule = lambda _number, _headers, _body: 410
    (lost,) = people(1)
    hook.receiver.until(lambda: bool(hook.dead()))
    hook.live.post("reading/replay-dead-letter", {"webhook": hook.name, "first": lost})
    hook.receiver.until(lambda: len(hook.receiver.letters) == 2 and not hook.dead()[0]["replaying"])
    assert (hook.dead()[0]["first"], hook.dead()[0]["tries"]) == (lost, 2)


def test_the_secret_is_shown_once_and_lies_nowhere_in_the_record(hook):
    again = hook.live.http.post(
        f"/parks/{hook.live.park}/reading/open-webhook", json=hook.body, headers=hook.headers
    ).json()
    assert again["repeat"] is True
    assert "secret" not in again
    assert again["position"] == hook.answer["position"]
    leaf = hook.live.leaf(hook.answer["position"])
    assert hook.secret.encode() not in leaf
    assert b"/park" not in leaf.split(b'"data"')[1]
    assert hook.secret not in str(hook.state())
    sealed = hook.live.portal.call(
        hook.live.running.app.state.hooks[hook.live.park].table.sealed, hook.answer["events"][0]["id"]
    )
    assert hook.secret.encode() not in sealed
    assert hook.receiver.url.encode() not in sealed


def test_events_from_before_are_sent_too_where_they_are_asked_for(live, people):
    expected = people(4)
    with receiving() as receiver:
        hook = Hook(live, receiver, "from-before", after=f"1:{expected[0] - 1}")
        receiver.until(lambda: receiver.positions() == expected)
        hook.close()


def test_nothing_is_sent_once_a_webhook_is_closed_and_its_secret_is_destroyed(live, people):
    with receiving() as receiver:
        hook = Hook(live, receiver, "closing")
        hook.close()
        people(2)
        time.sleep(2.0)
        assert receiver.letters == []
        table = live.running.app.state.hooks[live.park].table
        assert live.portal.call(table.sealed, hook.answer["events"][0]["id"]) is None


@pytest.mark.parametrize(
    ("body", "status", "where"),
    [
        ({"webhook": "x", "url": "http://office.larchmoor.example/"}, 422, "url"),
        ({"webhook": "x", "url": "https://ash@office.larchmoor.example/"}, 422, "url"),
        ({"webhook": "x", "url": "https://office.larchmoor.example/", "after": "1:999999"}, 422, "after"),
        ({"webhook": "x", "url": "https://office.larchmoor.example/", "types": ["games"]}, 422, "types"),
        (
            {"webhook": "x", "url": "https://office.larchmoor.example/", "types": ["games.*", "gmaes.*"]},
            422,
            "types[1]",
        ),
        ({"webhook": "x", "url": "https://office.larchmoor.example/", "tags": ["birch"]}, 422, "tags[0]"),
    ],
)
def test_what_cannot_be_opened_is_refused_and_leaves_nothing(live, body, status, where):
    before = live.head()
    answer = live.post("reading/open-webhook", body)
    assert answer.status_code == status, answer.text
    assert where in answer.json()["where"]
    assert live.head() == before


@pytest.mark.parametrize("role", ROLES)
def test_only_a_manager_opens_and_only_he_and_an_auditor_look(live, role):
    body = {"webhook": f"role-{role}", "url": "http://127.0.0.1:9/"}
    assert live.post("reading/open-webhook", body, role).status_code == (201 if role == "manager" else 403)
    if role == "manager":
        assert live.post("reading/close-webhook", {"webhook": f"role-{role}"}, role).status_code == 201
    for path in ("webhooks", "dead-letters"):
        expected = 200 if role in KEEPERS else 403
        assert live.get(f"/parks/{live.park}/reading/{path}", role).status_code == expected
