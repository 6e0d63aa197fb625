"""Where rows and log part, against a plain search over every beginning of the log."""

from datetime import UTC, datetime
from uuid import UUID

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from contracts.envelope import Recorded, Unknown
from services.core.parting import Parting, Partings, Place

AT = datetime(2026, 5, 2, 10, 30, tzinfo=UTC)


class Doors:
    """A toy projection whose states come back to what they were: each event opens or closes the doors that it names."""

    name = "doors"

    def tags(self, event):
        return event.tags

    def apply(self, events, states):
        changed = set()
        for event in events:
            for tag in event.tags:
                states[tag] = not states.get(tag, False)
                changed.add(tag)
        return changed

    def encode(self, _tag, state):
        return msgspec.json.encode(state)

    def decode(self, _tag, state):
        return msgspec.json.decode(state)


def event(position, *tags, type="toy.moved"):  # noqa: A002
    data = Unknown(type=type, version=1, why="a toy")
    identity = UUID(int=position)
    return Recorded(
        "north", 1, position, AT, identity, type, AT.date(), AT, None, "server", "kiosk-1", None, None, tags, data
    )


def first(live, events):
    partings = Partings(Doors(), live)
    partings.take(events)
    return partings.first


def searched(tag, live, events):
    """The same by brute force: the state after every beginning of the tag's events is held against the row."""
    own = [one for one in events if tag in one.tags]
    states = [None, *(b"true" if length % 2 else b"false" for length in range(1, len(own) + 1))]
    same = [length for length, state in enumerate(states) if state == live]
    if not own:
        return Parting(tag, None if live else 0, None)
    if not same:
        return Parting(tag, None, Place(own[0].position, own[0].type))
    agreed = own[same[-1] - 1].position if same[-1] else 0
    parted = own[same[-1]] if same[-1] < len(own) else None
    return Parting(tag, agreed, parted and Place(parted.position, parted.type))


rows = st.sampled_from([None, b"true", b"false", b"ajar"])


@given(
    st.dictionaries(st.sampled_from(["a", "b", "c"]), rows, min_size=1),
    st.lists(st.lists(st.sampled_from(["a", "b", "c", "d"]), unique=True), max_size=12),
)
def test_the_row_that_parted_first_is_named_with_the_event_after_which_it_did(live, tags):
    events = [event(position, *each) for position, each in enumerate(tags, 1)]
    expected = [searched(tag, row, events) for tag, row in live.items()]
    expected.sort(key=lambda one: (one.parted is None, one.parted.position if one.parted else 0, one.tag))
    assert first(live, events) == expected[0]


@pytest.mark.parametrize(
    ("row", "sentence"),
    [
        (None, "door has no row, though the log tells of it from position 2 (toy.opened) on"),
        (b"true", "the row of door and the log part at position 7 (toy.closed); after position 2 they were the same"),
        (b"ajar", "the row of door is what the log says at no point, from its first event on, position 2 (toy.opened)"),
    ],
)
def test_each_way_to_part_has_its_sentence(row, sentence):
    events = [event(2, "door", type="toy.opened"), event(5, "gate"), event(7, "door", type="toy.closed")]
    assert first({"door": row}, events).sentence == sentence


def test_a_row_of_which_the_log_tells_nothing_is_named_after_the_others():
    events = [event(2, "door")]
    assert first({"cellar": b"true"}, events).sentence == "there is a row of cellar, of which the log tells nothing"
    assert first({"cellar": b"true", "door": None}, events).tag == "door"
