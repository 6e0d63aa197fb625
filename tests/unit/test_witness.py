"""Checkpoints in the database and outside of it, and the keys that signed them: each way in which they do not fit is named."""

from datetime import UTC, datetime, timedelta

import pytest
from msgspec.structs import replace

from contracts import leaf
from contracts.evidence import KeyAdopted
from services.evidence import note
from services.evidence.checkpoint import Checkpoint, origin_of
from services.evidence.note import SigningKey
from services.evidence.witness import CheckpointRow, Witness
from tests.unit.signed_log import PARK, row_of

AT = datetime(2026, 5, 2, 17, 0, tzinfo=UTC)
KEY, SECOND, FORGED = (SigningKey(origin_of(PARK, 1), bytes([seed]) * 32) for seed in (1, 2, 3))


def signed(size, *keys, park=PARK, epoch=1, root=b"\x07" * 32):
    made = Checkpoint.at(origin_of(park, epoch), size, root, AT + timedelta(seconds=size))
    return CheckpointRow(epoch, size, root, note.sign(made.text, keys or (KEY,)), made.signed_at)


def heard(rows, outside, keys=(KEY, SECOND)):
    witness = Witness(PARK, [key.verifier for key in keys])
    return witness, [(one.kind, one.position, one.sentence) for one in witness.read(rows, outside)]


def notes(*rows):
    return [row.note for row in rows]


def test_checkpoints_that_are_kept_in_both_places_bear_witness():
    rows = [signed(3), signed(5, KEY, SECOND), signed(9, SECOND)]
    witness, findings = heard(rows, notes(*rows))
    assert findings == []
    assert [one.size for one in witness.signed] == [3, 5, 9]


@pytest.mark.parametrize(
    ("inside", "outside", "named"),
    [
        ([signed(3)], notes(signed(3), signed(5)), "Position 5: the checkpoint over the first 5 events, signed on "),
        ([signed(3), signed(5)], notes(signed(3)), "Position 5: the checkpoint over the first 5 events, signed on "),
        ([signed(3)], notes(signed(3, root=b"\x08" * 32)), "has one root outside and another in the database."),
        ([replace(signed(3), size=4)], notes(signed(3)), "Position 4: the columns of the checkpoint do not say "),
        (
            [replace(signed(3), root=b"\x09" * 32)],
            notes(signed(3)),
            "Position 3: the columns of the checkpoint do not ",
        ),
        (
            [signed(3, FORGED)],
            [],
            "Position 3: the checkpoint in the database cannot be believed: No key that is known",
        ),
        ([signed(3, park="ravenmoor")], [], "cannot be believed: It is one of park ravenmoor."),
        ([signed(3, epoch=2)], [], "which does not sign for fieldledger/larchmoor/2."),
        ([], notes(signed(3, FORGED)), "Checkpoint 1 outside the database cannot be believed: "),
        ([], ["nonsense"], "Checkpoint 1 outside the database cannot be believed: "),
    ],
)
def test_each_way_in_which_two_places_do_not_fit_has_its_sentence(inside, outside, named):
    _, findings = heard(inside, outside)
    assert len(findings) == 1
    assert named in findings[0][2]


def test_the_signature_of_another_parks_key_is_not_believed_for_this_one():
    other = SigningKey(origin_of("ravenmoor", 1), b"\x01" * 32)
    _, findings = heard([signed(3, other, park="ravenmoor")], None, keys=(KEY, other))
    assert [sentence for _, _, sentence in findings] == [
        "Position 3: the checkpoint in the database cannot be believed: It is one of park ravenmoor."
    ]


def adopted(position, key, replaces=None, epoch=1):
    data = KeyAdopted(vkey=key.verifier.text, replaces=replaces and replaces.verifier.text)
    return leaf.decode(row_of(position, data, device="server", epoch=epoch).leaf)


def of_keys(rows, events, known=(KEY, SECOND), *, superseded=False):
    witness, _ = heard(rows, None, known)
    gone = witness.signed if superseded else []
    return [(one.kind, one.position) for one in witness.keys(events, gone, [key.verifier for key in known])]


def test_keys_that_the_log_adopted_one_after_the_other_are_believed():
    events = [adopted(2, KEY), adopted(6, SECOND, KEY)]
    assert of_keys([signed(3), signed(6, KEY, SECOND), signed(9, SECOND)], events) == []


@pytest.mark.parametrize(
    ("rows", "events", "expected"),
    [
        ([signed(3), signed(5)], [], [("key", 3)]),
        ([signed(3)], [adopted(4, KEY)], [("key", 3)]),
        ([signed(3)], [adopted(2, KEY), adopted(6, FORGED, KEY)], [("key", 6)]),
        ([signed(3)], [adopted(2, KEY), adopted(6, SECOND, KEY)], [("key", 6)]),
        ([signed(3), signed(7, SECOND)], [adopted(2, KEY), adopted(6, SECOND)], [("key", 6)]),
        ([signed(3)], [adopted(2, KEY, SECOND)], [("key", 2)]),
    ],
)
def test_a_key_that_was_not_adopted_or_out_of_turn_is_named(rows, events, expected):
    assert of_keys(rows, events) == expected


def test_what_a_restore_lost_may_have_adopted_a_key():
    events = [adopted(2, KEY), adopted(7, FORGED, SECOND, epoch=2)]
    rows = [signed(3), signed(8, FORGED), signed(9, SECOND)]
    assert of_keys(rows, events, (KEY, SECOND, FORGED)) == [("key", 9)]
    assert of_keys(rows, events, (KEY, SECOND, FORGED), superseded=True) == []


def test_a_key_that_was_adopted_and_of_which_no_checkpoint_is_left_is_named():
    events = [adopted(2, KEY), adopted(6, SECOND, KEY)]
    assert of_keys([signed(3), signed(7, KEY, SECOND)], events) == []
    assert of_keys([signed(3)], events) == [("key", 6)]
    assert of_keys([], events) == [("key", 2), ("key", 6)]
