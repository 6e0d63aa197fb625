"""Pages: a line is the event as it was recorded, and one page serves every reader in the form that he asks for."""

import zlib

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from contracts import leaf
from contracts.envelope import Event
from services.reading.pages import GZIP, Page, line, squeezed
from services.reading.wanted import EVERYTHING, Wanted
from tests.unit.golden_leaves import FOLDER
from tests.unit.reading_log import ReadingLog

LEAVES = sorted(FOLDER.glob("*.leaf"))


def page_of(count):
    log = ReadingLog()
    log.grow(count)
    return Page(log.rows)


def positions(told):
    return [msgspec.json.decode(one)["position"] for one in told.splitlines()]


@pytest.mark.parametrize("path", LEAVES, ids=lambda path: path.stem)
def test_a_line_says_of_every_type_what_its_leaf_says_and_no_more(path):
    written = path.read_bytes()
    told = msgspec.json.decode(line(written))
    place = {name: told.pop(name) for name in ("park", "epoch", "position", "recorded_at", "leaf_sha256")}
    event = leaf.decode(written)
    assert told == msgspec.json.decode(written.split(b"\n", 5)[5])
    assert msgspec.json.decode(line(written), type=Event).id == event.id
    assert (place["park"], place["epoch"], place["position"]) == (event.park, event.epoch, event.position)
    assert msgspec.convert(place["recorded_at"], type(event.recorded_at)) == event.recorded_at
    assert place["leaf_sha256"] == leaf.leaf_hash(written).hex()
    assert b"\n" not in line(written)


def test_what_is_wanted_is_of_one_of_the_types_and_about_one_of_the_tags():
    page = page_of(12)
    assert list(page.positions(EVERYTHING)) == list(range(1, 13))
    assert list(page.positions(Wanted(types=frozenset({"games.*"})))) == [3, 6, 9, 12]
    assert list(page.positions(Wanted(types=frozenset({"games.field_inspected", "registration.*"})))) == list(
        range(1, 13)
    )
    assert list(page.positions(Wanted(tags=frozenset({"field:birch", "person:person-4"})))) == [3, 4, 9]
    assert list(page.positions(Wanted(frozenset({"games.*"}), frozenset({"person:person-4", "field:alder"})))) == [
        6,
        12,
    ]
    assert list(page.positions(Wanted(types=frozenset({"game.*"})))) == []


@given(st.integers(0, 12))
def test_a_reader_gets_what_lies_behind_his_position(after):
    assert positions(page_of(12).shown(EVERYTHING, "lines", after)) == list(range(after + 1, 13))


def test_every_event_of_a_stream_bears_its_place():
    told = page_of(2).shown(EVERYTHING, "stream", 0).decode()
    assert told.count("\n\n") == 2
    first, second, _ = told.split("\n\n")
    assert first.startswith("id: 1:1\ndata: {")
    assert second.startswith("id: 1:2\ndata: {")


def test_squeezed_pages_of_any_readers_mix_are_one_gzip_file():
    """RFC 1951 §3.2.3: blocks that look back at nothing can follow each other; opened here by zlib, through Python's own module."""
    page, hello = page_of(40), squeezed(b"retry: 2000\n\n")
    parts = [GZIP, hello, page.shown(EVERYTHING, "squeezed", 0), squeezed(b"x"), page.shown(EVERYTHING, "squeezed", 17)]
    opener = zlib.decompressobj(zlib.MAX_WBITS | 16)
    told = b""
    for part in parts:
        told += opener.decompress(part)  # each is readable as soon as it has come
    assert told == b"".join(
        [b"retry: 2000\n\n", page.shown(EVERYTHING, "stream", 0), b"x", page.shown(EVERYTHING, "stream", 17)]
    )
    assert len(parts[2]) < page.size / 3


def test_a_page_is_made_once_for_all_who_want_the_same_and_what_it_keeps_is_bounded():
    page = page_of(40)
    assert page.shown(EVERYTHING, "stream", 0) is page.shown(EVERYTHING, "stream", 0)
    for number in range(100):
        page.shown(Wanted(tags=frozenset({f"person:person-{number}"})), "stream", 0)
    assert len(page._kept) <= 8
