"""What is true of a log that was brought back: whether it is a backup of this log, what it lacks, and which epoch comes next."""

from datetime import UTC, datetime, timedelta

import pytest

from contracts.evidence import EpochBegun
from contracts.leaf import frame, leaf_hash
from services.core.log import Head
from services.evidence import tree
from services.evidence.checkpoint import Checkpoint, origin_of
from services.evidence.restoration import Loss, NotRestored, Prefix, loss
from tests.unit.signed_log import row_of

NOW = datetime(2026, 5, 9, 10, tzinfo=UTC)


def life(first, last, epoch, saying="{}"):
    """The leaves at these positions, recorded in one life of the log."""
    return [
        frame("larchmoor", epoch, position, NOW + timedelta(seconds=position), saying.encode())
        for position in range(first, last + 1)
    ]


def signed(leaves, size, epoch):
    root = tree.root([leaf_hash(one) for one in leaves[:size]])
    return Checkpoint.at(origin_of("larchmoor", epoch), size, root, NOW)


def held(log, epoch, *checkpoints):
    """The leaves of a log in this epoch, held against the checkpoints."""
    prefix = Prefix(checkpoints, epoch)
    for leaf in log:
        prefix.take(leaf)
    prefix.end()
    return prefix


def begun(position, epoch, lost_first, lost_last):
    """The leaf with which a life of the log begins."""
    data = EpochBegun(epoch=epoch, checkpoint=None, lost_first=lost_first, lost_last=lost_last, cause="backup")
    return row_of(position, data, device="terminal", epoch=epoch).leaf


OURS = life(1, 20, 1)


def test_a_backup_lacks_what_lies_between_its_end_and_the_furthest_that_is_known():
    prefix = held(OURS[:10], 1, signed(OURS, 6, 1), signed(OURS, 15, 1))
    assert prefix.agreed == signed(OURS, 6, 1)
    assert loss(Head(1, 10), [Head(1, 15)], prefix) == Loss(2, 11, 15)
    assert loss(Head(1, 10), [Head(1, 15), Head(1, 20)], prefix) == Loss(2, 11, 20)


@pytest.mark.parametrize("known", [[], [Head(1, 10)], [Head(1, 4), Head(1, 10)]])
def test_a_log_of_which_no_more_is_known_has_lost_nothing(known):
    assert loss(Head(1, 10), known, held(OURS[:10], 1)) is None


def test_what_an_epoch_before_has_lost_is_settled():
    assert loss(Head(2, 10), [Head(1, 15)], held(OURS[:9] + life(10, 10, 2), 2)) is None


def test_a_log_with_other_events_than_were_signed_is_no_backup():
    with pytest.raises(
        NotRestored, match=r"The first 6 events are not those that were signed on 2026-05-09 10:00:00 UTC"
    ):
        held(life(1, 10, 1, "forged"), 1, signed(OURS, 6, 1), signed(OURS, 15, 1))


def test_a_checkpoint_over_what_a_restore_before_has_lost_is_held_against_nothing():
    second = [*OURS[:10], begun(11, 2, 11, 20), *life(12, 30, 2)]
    prefix = held(second[:25], 2, signed(OURS, 6, 1), signed(OURS, 15, 1), signed(second, 20, 2), signed(second, 30, 2))
    assert prefix.agreed == signed(second, 20, 2)
    assert loss(Head(2, 25), [Head(2, 30)], prefix) == Loss(3, 26, 30)


def test_a_backup_older_than_a_restore_before_goes_on_after_that_epoch_and_has_lost_it():
    """The second life parted from the first behind position 10; the backup is of the first, and has more of it."""
    second = OURS[:10] + life(11, 30, 2)
    known = [
        signed(OURS, 6, 1),
        signed(OURS, 20, 1),
        signed(second, 8, 2),
        signed(second, 14, 2),
        signed(second, 28, 2),
    ]
    prefix = held(OURS[:18], 1, *known)
    assert prefix.parted
    assert prefix.agreed == signed(second, 8, 2)
    assert loss(Head(1, 18), [Head(one.epoch, one.size) for one in known], prefix) == Loss(3, 9, 28)


def test_a_backup_of_a_life_that_went_on_from_an_older_one_is_one_of_this_log():
    """The second life is lost from position 9 on, as the third says at its first event, which stands at 19."""
    second = [*OURS[:10], begun(11, 2, 11, 20), *life(12, 28, 2)]
    third = [*OURS[:18], begun(19, 3, 9, 28), *life(20, 40, 3)]
    known = [
        signed(OURS, 6, 1),
        signed(second, 8, 2),
        signed(second, 14, 2),
        signed(third, 30, 3),
        signed(third, 40, 3),
    ]
    prefix = held(third[:35], 3, *known)
    assert prefix.agreed == signed(third, 30, 3)
    assert loss(Head(3, 35), [Head(one.epoch, one.size) for one in known], prefix) == Loss(4, 36, 40)


def test_leaves_that_call_themselves_of_a_later_epoch_are_held_against_what_was_signed():
    with pytest.raises(NotRestored, match="The first 15 events are not those that were signed"):
        held([*OURS[:11], *life(12, 18, 2, "forged")], 2, signed(OURS, 6, 1), signed(OURS, 15, 1), signed(OURS, 20, 1))


def test_a_later_epoch_that_the_bus_alone_knows_is_not_begun_again():
    assert loss(Head(1, 18), [Head(2, 12)], held(OURS[:18], 1)) == Loss(3, 12, 12)
