"""Whatever is changed in a signed log is found, and named by its position."""

from datetime import timedelta
from uuid import UUID

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec.structs import replace

from contracts import leaf
from contracts.evidence import EpochBegun
from contracts.registration import PersonRegistered
from services.evidence.check import Astray
from services.evidence.columns import TagRow
from services.evidence.levels import levels
from services.evidence.roots import Frontier, Roots, Signed
from tests.unit import signed_log
from tests.unit.signed_log import OPENS, checked, row_of, tag_rows, tiles

SIGNED = 300
LOG = signed_log.signed_log(320, [100, 256, 257, 280, SIGNED])
"""A whole tile and a part, and twenty events that nobody has signed yet."""
POSITIONS = st.integers(1, SIGNED)


def whatever(*strategies):
    """Each example checks a whole log, which takes some milliseconds on an idle machine."""
    return lambda test: settings(max_examples=50, deadline=None)(given(*strategies)(test))


def found(log, batch=256):
    return checked(log, batch)[1]


def kinds(findings):
    return {one.kind for one in findings}


@pytest.mark.parametrize("size", [0, 1, 2, 255, 256, 257, 511, 512, 513, 620])
def test_nothing_is_found_in_a_log_that_nobody_touched(size):
    checkpoints = [one for one in (1, 2, 100, 256, 257, 500) if one <= size]
    check, findings = checked(signed_log.signed_log(size, checkpoints))
    assert findings == []
    assert check.roots.agreeing == len(checkpoints)


@whatever(POSITIONS, st.data())
def test_a_turned_bit_in_a_leaf_is_found_at_its_position_with_the_day_it_was_signed(position, data):
    log = LOG.copy()
    row = log.events[position - 1]
    turned = bytearray(row.leaf)
    turned[data.draw(st.integers(0, len(turned) - 1))] ^= 1 << data.draw(st.integers(0, 7))
    log.events[position - 1] = replace(row, leaf=bytes(turned))
    findings = found(log)
    assert {one.position for one in findings if one.kind == "bytes"} == {position}
    (named,) = (one for one in findings if one.kind == "bytes")
    signed_at = next(one.signed_at for one in LOG.signed if one.size >= position)
    assert named.sentence == (
        f"Position {position}: the recorded bytes are not those that were signed on {signed_at:%Y-%m-%d %H:%M:%S} UTC."
    )
    # Time and epoch are held against the event in front, so a changed one may show at the next position as well.
    assert {one.position for one in findings if one.kind not in {"order", "tag"}} == {position}


@whatever(st.sampled_from(LOG.tags), st.sampled_from(["deleted", "added", "other tag", "other type", "carries"]))
def test_a_changed_entry_of_the_index_is_found_by_position_and_tag(entry, how):
    log = LOG.copy()
    if how == "added":
        log.tags.append(replace(entry, tag="player:slipped-in"))
    else:
        log.tags.remove(entry)
    if how == "other tag":
        log.tags.append(replace(entry, tag="player:slipped-in"))
    elif how == "other type":
        log.tags.append(replace(entry, type="park.day_closed"))
    elif how == "carries":
        log.tags.append(replace(entry, carries=not entry.carries))
    expected = {"added": {"player:slipped-in"}, "other tag": {"player:slipped-in", entry.tag}}.get(how, {entry.tag})
    assert {(one.kind, one.position, one.tag) for one in found(log)} == {
        ("tag", entry.position, tag) for tag in expected
    }


COLUMNS = {
    "park": "ravenmoor",
    "epoch": 2,
    "id": UUID(int=77_777),
    "type": "park.day_closed",
    "day": OPENS.date() - timedelta(days=1),
    "occurred_at": OPENS,
    "recorded_at": OPENS,
    "device": "kiosk-99",
    "tags": ("player:slipped-in",),
}


@whatever(st.integers(1, 320), st.sampled_from(sorted(COLUMNS)))
def test_a_changed_column_is_found_at_its_position(position, name):
    log = LOG.copy()
    log.events[position - 1] = replace(log.events[position - 1], **{name: COLUMNS[name]})
    findings = found(log)
    assert {one.position for one in findings} == {position}
    assert f"Position {position}: the column {name} says " in findings[0].sentence


@whatever(POSITIONS, POSITIONS)
def test_two_events_that_changed_places_are_found_at_both(one, other):
    log = LOG.copy()
    if one == other:
        return
    here, there = log.events[one - 1], log.events[other - 1]
    log.events[one - 1], log.events[other - 1] = signed_log.moved(there, one), signed_log.moved(here, other)
    findings = found(log)
    assert {each.position for each in findings if each.kind == "bytes"} == {one, other}
    assert {each.position for each in findings if each.kind == "column"} == {one, other}


@whatever(st.integers(1, 320), st.booleans())
def test_an_event_that_was_taken_out_is_found_missing(position, with_its_entries):
    log = LOG.copy()
    del log.events[position - 1]
    if with_its_entries:
        log.tags = [entry for entry in log.tags if entry.position != position]
    assert {(one.kind, one.position) for one in found(log)} == {("missing", position)}


@whatever(POSITIONS)
def test_a_log_that_closed_ranks_over_a_missing_event_is_found_from_there_on(position):
    log = LOG.copy()
    del log.events[position - 1]
    log.events = [*log.events[: position - 1], *(shifted(row, -1) for row in log.events[position - 1 :])]
    rewritten(log)
    findings = found(log)
    assert min(one.position for one in findings) == position
    assert {one.kind for one in findings if one.position == position} == {"bytes"}


@whatever(POSITIONS)
def test_an_event_that_was_pushed_in_is_found_where_it_stands(position):
    log = LOG.copy()
    pushed_in = row_of(position, PersonRegistered(person="nobody", age_band=18), device="kiosk-1")
    log.events = [
        *log.events[: position - 1],
        replace(pushed_in, id=UUID(int=99_999)),
        *(shifted(row, 1) for row in log.events[position - 1 :]),
    ]
    rewritten(log)
    findings = found(log)
    assert min(one.position for one in findings) == position
    assert "bytes" in {one.kind for one in findings if one.position == position}


def shifted(row, by):
    """The event with its position changed in the column and in the bytes too."""
    lines = row.leaf.split(b"\n", 4)
    lines[3] = b"%d" % (row.position + by)
    return replace(row, position=row.position + by, leaf=b"\n".join(lines))


def rewritten(log):
    """Index, requests and head made to fit the events again: only what was signed can tell."""
    decoded = [leaf.decode(row.leaf) for row in log.events]
    log.tags = [tag for row, event in zip(log.events, decoded, strict=True) for tag in tag_rows(row, event.data)]
    log.requests = [signed_log.RequestRow(row.id, row.device, row.position, row.position) for row in log.events]
    log.head = replace(log.head, position=len(log.events), recorded_at=log.events[-1].recorded_at)


@whatever(POSITIONS)
def test_who_covers_his_tracks_in_the_stored_tree_too_is_found_between_two_checkpoints(position):
    log = LOG.copy()
    forged = PersonRegistered(person="forged", age_band=18)
    log.events[position - 1] = row_of(position, forged, device=log.events[position - 1].device)
    rewritten(log)
    log.plant_tree(SIGNED)
    (only,) = found(log)
    sizes = [0, *(one.size for one in LOG.signed)]
    after = max(size for size in sizes if size < position)
    assert (only.kind, only.position, only.last) == (
        "range",
        after + 1,
        min(size for size in sizes if size >= position),
    )


@whatever(st.integers(0, SIGNED - 1))
def test_a_log_that_was_cut_short_everywhere_is_told_by_its_checkpoints(end):
    log = LOG.copy()
    log.events = log.events[:end]
    if log.events:
        rewritten(log)
        log.plant_tree()
    else:
        log = signed_log.signed_log(0, [])
        log.signed = LOG.signed
    findings = found(log)
    assert {(one.kind, one.position) for one in findings} == {("truncated", end)}
    assert len(findings) == sum(one.size > end for one in LOG.signed)


@whatever(st.integers(0, len(LOG.signed) - 2), st.binary(min_size=32, max_size=32))
def test_an_exchanged_checkpoint_is_told_from_a_changed_log_by_a_later_one(which, root):
    log = LOG.copy()
    log.signed[which] = replace(log.signed[which], root=root)
    (only,) = found(log)
    assert (only.kind, only.position) == ("checkpoint", log.signed[which].size)


@whatever(st.integers(1, SIGNED), st.integers(0, 255))
def test_a_changed_hash_of_the_stored_tree_is_told_from_a_changed_event(position, bit):
    log = LOG.copy()
    tile = bytearray(log.tiles[0, (position - 1) // 256])
    tile[(position - 1) % 256 * 32 + bit // 8] ^= 1 << bit % 8
    log.tiles[0, (position - 1) // 256] = bytes(tile)
    findings = found(log)
    assert kinds(findings) == {"tree"}
    assert [one.sentence for one in findings if one.last is None and one.position == position]


@whatever(st.integers(0, 255))
def test_a_changed_hash_of_a_higher_level_is_found(bit):
    log = LOG.copy()
    tile = bytearray(log.tiles[1, 0])
    tile[bit // 8] ^= 1 << bit % 8
    log.tiles[1, 0] = bytes(tile)
    assert [(one.kind, one.position, one.last) for one in found(log)] == [("tree", 1, 256)]


def test_a_stored_tree_that_was_lost_is_said_once():
    log = LOG.copy()
    log.tiles.clear()
    assert [(one.kind, one.position, one.last) for one in found(log)] == [("tree", 1, SIGNED)]


@whatever(st.sampled_from(LOG.requests[:-1]), st.sampled_from(["deleted", "id", "device", "longer", "twice"]))
def test_a_changed_request_is_found_where_it_begins_or_overlaps(request, how):
    log = LOG.copy()
    log.requests.remove(request)
    made = {
        "id": [replace(request, id=UUID(int=99_999))],
        "device": [replace(request, device="kiosk-99")],
        "longer": [replace(request, last=request.last + 1)],
        "twice": [request, replace(request, id=UUID(int=99_999))],
    }
    log.requests += made.get(how, [])
    findings = found(log)
    assert kinds(findings) == {"request"}
    assert findings[0].position == (request.last + 1 if how == "longer" else request.first)


@pytest.mark.parametrize(("name", "value"), [("epoch", 2), ("recorded_at", OPENS + timedelta(days=9))])
def test_a_changed_head_is_found(name, value):
    log = LOG.copy()
    log.head = replace(log.head, **{name: value})
    assert [(one.kind, one.position) for one in found(log)] == [("head", 320)]


@pytest.mark.parametrize(
    ("what", "kind"),
    [
        ("event", "head"),
        ("index entry", "tag"),
        ("request", "request"),
        ("stored hash", "truncated"),
        ("id", "repeated"),
    ],
)
def test_what_lies_beside_the_log_is_found(what, kind):
    log = LOG.copy()
    log.astray = [Astray(what, 400, "something")]
    assert [(one.kind, one.position) for one in found(log)] == [(kind, 400)]


def test_two_events_at_one_position_are_found():
    log = LOG.copy()
    log.events.insert(7, log.events[7])
    assert [(one.kind, one.position) for one in found(log)] == [("repeated", 8)]


def test_time_and_epoch_that_go_back_are_found():
    log = signed_log.signed_log(3, [])
    middle = log.events[1]
    lines = middle.leaf.split(b"\n", 5)
    lines[2], lines[4] = b"2", b"%d" % (int(lines[4]) + 10_000_000)
    log.events[1] = replace(
        middle, leaf=b"\n".join(lines), epoch=2, recorded_at=middle.recorded_at + timedelta(seconds=10)
    )
    # Nor does any event say that epoch 2 began.
    assert [(one.kind, one.position) for one in found(log)] == [("order", 2), ("order", 3), ("order", 3)]


BEGUN = EpochBegun(epoch=2, checkpoint=None, lost_first=5, lost_last=12, cause="backup")


def test_what_a_restore_lost_is_not_held_against_the_log_but_counted():
    log = signed_log.signed_log(10, [3, 6])
    forked = signed_log.signed_log(10, [])
    for position in range(5, 11):  # a new life of the log begins behind position 4
        data = PersonRegistered(person=f"again-{position}", age_band=18) if position > 5 else BEGUN
        forked.events[position - 1] = row_of(position, data, device="kiosk-1", epoch=2)
    rewritten(forked)
    forked.head = replace(forked.head, epoch=2)
    forked.signed = [*log.signed, Signed(1, 12, bytes(32), OPENS)]
    forked.plant_tree()
    check, findings = checked(forked)
    assert findings == []
    assert (check.roots.agreeing, len(check.roots.superseded)) == (1, 2)


def lived_again(log, begins, last, epoch, lost_first):
    """The log went on in another life behind an event that begins it; what stood there before is lost."""
    begun = EpochBegun(epoch=epoch, checkpoint=None, lost_first=lost_first, lost_last=last, cause="backup")
    again = log.copy()
    del again.events[begins - 1 :]
    for position in range(begins, last + 1):
        data = PersonRegistered(person=f"again-{epoch}-{position}", age_band=18) if position > begins else begun
        again.events.append(row_of(position, data, device="kiosk-1", epoch=epoch))
    rewritten(again)
    again.head = replace(again.head, epoch=epoch)
    again.plant_tree()
    return again


def signed_of(log, epoch, size):
    """What was signed of a log while it stood so."""
    hashes = [leaf.leaf_hash(row.leaf) for row in log.events[:size]]
    return Signed(epoch, size, signed_log.root(hashes), OPENS + timedelta(hours=epoch, seconds=size))


def test_a_backup_older_than_a_restore_before_leaves_no_checkpoint_of_that_life_to_hold_against_the_log():
    """The second life parted from the first behind position 4; the backup is of the first, up to 10, and the third went on from that."""
    first = signed_log.signed_log(10, [3, 8])
    second = lived_again(first, 5, 9, 2, lost_first=5)
    third = lived_again(first, 11, 14, 3, lost_first=4)
    third.signed = [*first.signed, signed_of(second, 2, 6), signed_of(third, 3, 13)]
    check, findings = checked(third)
    assert findings == []
    assert (check.roots.agreeing, check.roots.superseded) == (3, [signed_of(second, 2, 6)])


@pytest.mark.parametrize("lost_first", [300, 20])
def test_an_epoch_that_says_less_was_lost_than_there_was_is_found(lost_first):
    log = lived_again(signed_log.signed_log(20, []), 11, 25, 2, lost_first)
    log.signed = [signed_of(signed_log.signed_log(20, []), 1, 15)]
    assert [(one.kind, one.position, one.last) for one in found(log)] == [("range", 1, 15)]


def test_a_column_that_speaks_of_a_later_epoch_takes_no_checkpoint_out_of_force():
    log = LOG.copy()
    log.events[199] = row_of(200, PersonRegistered(person="forged", age_band=18), device=log.events[199].device)
    rewritten(log)
    log.plant_tree(SIGNED)
    for size in (256, 257, 280, SIGNED):
        log.events[size - 1] = replace(log.events[size - 1], epoch=2)
    assert {("range", 101), ("column", 256)} <= {(one.kind, one.position) for one in found(log)}


def test_a_head_that_speaks_of_a_later_epoch_hides_no_truncation():
    log = LOG.copy()
    log.events = log.events[:250]
    rewritten(log)
    log.plant_tree()
    log.head = replace(log.head, epoch=2)
    assert {(one.kind, one.position) for one in found(log)} == {("truncated", 250), ("head", 250)}


@pytest.mark.parametrize("hashes", [2, 200])
def test_a_hash_of_a_higher_level_that_stands_for_no_whole_tile_is_found(hashes):
    log = LOG.copy()
    log.tiles[1, 0] += bytes(32) * (hashes - 1)
    longer = signed_log.signed_log(520, [100])
    log.events, log.tags, log.requests, log.head = longer.events, longer.tags, longer.requests, longer.head
    assert [(one.kind, one.position, one.last) for one in found(log)] == [("tree", 257, 512)]


@pytest.mark.parametrize("tags", [[None, "person:x"], [["person:x"]]])
def test_tags_that_are_none_are_found_like_others(tags):
    log = LOG.copy()
    log.events[6] = replace(log.events[6], tags=tags)
    assert [(one.kind, one.position) for one in found(log)] == [("column", 7)]


def test_events_that_only_a_newer_version_can_read_are_counted():
    log = signed_log.signed_log(3, [])
    row = log.events[1]
    unread = row.leaf.replace(b'"version":1', b'"version":9')
    log.events[1] = replace(row, leaf=unread)
    log.tags = [TagRow(one.position, one.tag, one.type, one.position == 2 or one.carries) for one in log.tags]
    check, findings = checked(log)
    assert findings == []
    assert check.opaque == 1


@pytest.mark.parametrize("batch", [256, 512, 1024])
def test_how_the_log_is_cut_into_batches_makes_no_difference(batch):
    log = LOG.copy()
    log.events[299] = replace(log.events[299], leaf=log.events[299].leaf.replace(b"larch", b"birch"))
    del log.tags[400]
    assert found(log, batch) == found(log)


@pytest.mark.parametrize("size", [65_535, 65_536, 65_537])
def test_the_stored_tree_is_followed_over_three_levels(size):
    hashes = [b"%032d" % number for number in range(size)]
    stored = tiles(hashes)
    roots = Roots([Signed(1, size, signed_log.root(hashes), OPENS)])
    assert not [one for hashed in hashes for one in roots.take(hashed, hashed)]
    assert roots.agreeing == 1
    assert not list(levels(stored, 0, size))
    if size >= 65_536:
        stored[2, 0] = bytes(32)
        assert [(one.position, one.last) for one in levels(stored, 0, size)] == [(1, 65_536)]


@whatever(st.lists(st.binary(min_size=32, max_size=32), max_size=70))
def test_the_root_over_leaves_that_come_one_by_one_is_that_of_the_definition(hashes):
    frontier = Frontier()
    for each in hashes:
        frontier.add(each)
    assert frontier.root == signed_log.root(hashes)
