"""Events on the wire: what goes in comes out, old versions are understood, and what is not understood is said so."""

from datetime import UTC, datetime

import msgspec
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from msgspec import inspect

from contracts import leaf, problems
from contracts.catalogue import COMMANDS, EVENTS, TYPES, carries_of, decode_data, tags_of
from contracts.discipline import CautionRecorded
from contracts.envelope import Basis, Unknown
from contracts.examples import EXAMPLES
from contracts.games import Entrant, GameStarted, HoldAsked
from contracts.park import DayOpened
from contracts.velocity import ChronoRegistered, MarkerTested
from tests.unit.golden_leaves import FOLDER, KNOWN, framed
from tests.unit.instances import identifiers, strategy

BASIS = Basis(now=datetime(2026, 5, 9, 9, tzinfo=UTC), rules="larchmoor-2026", position=41)
MARKER_TESTED_V1 = (
    b"fieldledger leaf 1\nlarchmoor\n1\n42\n1778319015250000\n"
    b'{"type":"velocity.marker_tested","version":1,"id":"017f22e2-79b0-7cc3-98c4-dc0c0c07398f","day":"2026-05-09",'
    b'"occurred_at":"2026-05-09T09:30:15.250000Z","claimed_at":null,"clock":"server","device":"bench-1","device_seq":null,'
    b'"actor":null,"tags":["marker:marker-31","chrono:chrono-a"],'
    b'"data":{"test":"test-0231","marker":"marker-31","chrono":"chrono-a","readings":[271.4,268.9,273.0]}}'
)


@pytest.mark.parametrize("name", EVENTS)
@settings(max_examples=12, deadline=None, suppress_health_check=list(HealthCheck))
@given(drawn=st.data())
def test_an_event_comes_back_from_its_leaf_as_it_went_in(name, drawn):
    data = drawn.draw(strategy(EVENTS[name]))
    recorded = leaf.decode(framed(data))
    assert recorded.data == data
    assert type(recorded.data) is EVENTS[name]
    assert (recorded.type, recorded.tags, recorded.position) == (name, tags_of(data), 42)


@pytest.mark.parametrize("name", EVENTS)
@settings(max_examples=12, deadline=None, suppress_health_check=list(HealthCheck))
@given(drawn=st.data())
def test_every_identifier_that_an_event_names_is_one_of_its_tags(name, drawn):
    data = drawn.draw(strategy(EVENTS[name]))
    assert set(tags_of(data)) == identifiers(inspect.type_info(type(data)), data) | set(data.ALSO)


def test_a_started_game_bears_the_tag_of_everybody_on_its_list():
    started = GameStarted(
        basis=BASIS,
        game="birch-3",
        field="birch",
        rotation=None,
        format="elimination",
        minutes=15.0,
        entrants=(Entrant(player="ash", colour="red"), Entrant(player="elm", colour="blue")),
        left_out=(),
    )
    assert tags_of(started) == ("game:birch-3", "field:birch", "player:ash", "player:elm")


def test_a_caution_by_colour_and_number_bears_no_players_tag():
    caution = CautionRecorded(
        caution="c1", player=None, field="birch", game=None, colour="red", armband=14, violation="wiping", weight=1
    )
    assert tags_of(caution) == ("caution:c1", "field:birch")


def test_a_hold_concerns_its_fields_and_the_park():
    hold = HoldAsked(hold="h1", fields=("birch", "fern"), whole_park=False, cause="weather")
    assert tags_of(hold) == ("field:birch", "field:fern", "park")
    assert carries_of(hold) == ()


def test_the_parks_story_begins_anew_with_the_day():
    opened = DayOpened(opened=datetime(2026, 5, 9, tzinfo=UTC).date())
    assert carries_of(opened) == ("park",)


def test_a_marker_test_of_the_first_version_is_read_as_one_of_today():
    recorded = leaf.decode(MARKER_TESTED_V1)
    assert recorded.data == MarkerTested(
        test="test-0231",
        marker="marker-31",
        chrono="chrono-a",
        readings_fps=(271.4, 268.9, 273.0),
        low_pressure=False,
        sealed=False,
        temperature_c=None,
        misreads=(),
        ball_g=None,
        rate_bps=None,
    )
    assert recorded.recorded_at == datetime(2026, 5, 9, 9, 30, 15, 250000, UTC)


@pytest.mark.parametrize(
    ("name", "version", "raw"),
    [
        ("velocity.marker_polished", 1, b'{"marker":"m1"}'),
        ("velocity.chrono_registered", 2, b'{"chrono":"c1"}'),
        ("velocity.chrono_registered", 0, b'{"chrono":"c1"}'),
        ("velocity.chrono_registered", 1, b'{"chrono":"c1","colour":"red"}'),
        ("velocity.chrono_registered", 1, b"{}"),
        ("velocity.chrono_registered", 1, b'{"chrono":7}'),
        ("velocity.chrono_registered", 1, b'{"chrono":"\xff"}'),
        ("velocity.chrono_registered", 1, b'{"chrono":"c1"'),
        ("velocity.marker_tested", 1, b'{"test":"t","marker":"m","chrono":"c","readings":[250],"mood":"fine"}'),
    ],
    ids=["type", "version", "version-0", "field", "absent", "wrong-type", "utf-8", "cut", "field-of-v1"],
)
def test_data_that_this_version_cannot_read_is_said_to_be_unknown(name, version, raw):
    read = decode_data(name, version, raw)
    assert isinstance(read, Unknown)
    assert (read.type, read.version, read.raw) == (name, version, raw)
    assert read.why


def test_an_unknown_field_deep_inside_a_basis_makes_the_whole_event_unknown():
    raw = (
        b'{"basis":{"now":"2026-05-09T09:00:00Z","rules":"r","position":1,"mood":"fine"},'
        b'"player":"ash","field":"birch","game":null,"colour":null}'
    )
    assert isinstance(decode_data("games.player_admitted", 1, raw), Unknown)


def test_a_park_keeps_reading_past_an_event_of_a_later_release():
    later = framed(ChronoRegistered(chrono="c1")).replace(b'"version":1', b'"version":9')
    recorded = leaf.decode(later)
    assert recorded.position == 42
    assert isinstance(recorded.data, Unknown)


@pytest.mark.parametrize(
    "broken",
    [
        b"",
        b"fieldledger leaf 2\nlarchmoor\n1\n1\n0\n{}",
        b"fieldledger leaf 1\nlarchmoor\n1\n1\n0\n{}",
        MARKER_TESTED_V1.replace(b"\n42\n", b"\nforty-two\n"),
        MARKER_TESTED_V1.replace(b"\n1778319015250000\n", b"\n" + b"9" * 30 + b"\n"),
        MARKER_TESTED_V1[:-1],
        MARKER_TESTED_V1.replace(b"bench-1", b"bench-\xff"),
    ],
)
def test_bytes_that_are_no_leaf_are_one_named_error(broken):
    with pytest.raises(leaf.LeafError):
        leaf.decode(broken)


@pytest.mark.parametrize("name", KNOWN)
def test_a_leaf_once_written_is_read_alike_for_ever(name):
    written = (FOLDER / f"{name}.leaf").read_bytes()
    expected = msgspec.json.decode((FOLDER / f"{name}.json").read_bytes())
    assert msgspec.json.decode(msgspec.json.encode(leaf.decode(written))) == expected
    assert expected["data"].get("why") is None, "this version reads it as Unknown"


def test_every_golden_leaf_is_of_a_type_that_still_exists():
    assert {path.stem for path in FOLDER.glob("*.leaf")} == set(KNOWN)


@pytest.mark.parametrize("path", COMMANDS)
def test_every_command_has_an_example_that_fits_it(path):
    command = COMMANDS[path]
    assert isinstance(msgspec.convert(EXAMPLES[command], command), command)


@pytest.mark.parametrize("path", COMMANDS)
def test_every_command_says_what_it_does_and_who_may_ask(path):
    command = COMMANDS[path]
    assert (command.__doc__ or "").strip()
    assert command.ROLES
    assert "manager" in command.ROLES


def test_no_two_problems_share_a_type():
    every = problems.every()
    assert len({kind.type_uri() for kind in every}) == len(every)
    assert problems.IdempotencyKeyMissing.type_uri() == "/problems/idempotency-key-missing"


def test_event_types_are_past_tense_names_of_their_service():
    assert TYPES[MarkerTested] == "velocity.marker_tested"
    assert all(name.partition(".")[0] == data.__module__.rpartition(".")[2] for name, data in EVENTS.items())
