"""A device is invited, takes its code once and in time, and is revoked at once."""

from uuid import UUID

import pytest

from contracts.devices import DeviceEnrolled, DeviceInvited, DeviceRevoked, InviteDevice, RevokeDevice
from contracts.envelope import Unknown
from contracts.problems import CodeExpired, CodeReplaced, CodeUsed, NotInThatState, UnknownSubject
from services.core.command import Handler
from services.devices import model
from services.devices.codes import ALPHABET, code_hash, new_code, plain
from services.devices.invitations import INVITE, TAKE
from services.devices.model import TakeInvitation
from services.devices.outside import Revocations
from services.devices.states import DEVICE
from tests.unit.scenario import Scenario


def revoking(enrolled):
    def decide(command, given, moment):
        return model.revoke_device(command, given, moment, enrolled=enrolled)

    return Handler(RevokeDevice, lambda c, _: {(DEVICE, c.device)}, decide)


@pytest.fixture
def park():
    return Scenario([INVITE, TAKE, revoking(enrolled=False)])


def invited(park, **more):
    park.when(InviteDevice(device="gate-1", roles=("staging", "desk", "staging"), station="gate-north", **more))
    return park.events[-1].id


def take(park, invitation):
    return park.when(TakeInvitation(device="gate-1", invitation=invitation, version="2026.5"))


def test_an_invitation_says_what_the_device_is_for_and_until_when_it_works(park):
    (event,) = park.when(InviteDevice(device="gate-1", roles=("staging", "desk", "staging")))
    assert event == DeviceInvited(device="gate-1", roles=("desk", "staging"), station=None, expires_at=park.at(15).now)


def test_whoever_takes_the_invitation_is_enrolled_for_what_it_said(park):
    (event,) = take(park, invited(park))
    assert event == DeviceEnrolled(device="gate-1", roles=("desk", "staging"), station="gate-north", version="2026.5")


def test_a_code_enrols_once(park):
    invitation = invited(park)
    take(park, invitation)
    with pytest.raises(CodeUsed):
        take(park, invitation)


@pytest.mark.parametrize(("minutes", "works"), [(15, True), (15.001, False)])
def test_a_code_works_to_the_end_of_its_last_minute_and_not_a_moment_longer(park, minutes, works):
    invitation = invited(park)
    park.at(minutes)
    if works:
        assert take(park, invitation)
    else:
        with pytest.raises(CodeExpired):
            take(park, invitation)


def test_a_newer_invitation_replaces_the_one_before(park):
    old, new = invited(park), invited(park)
    with pytest.raises(CodeReplaced):
        take(park, old)
    assert take(park, new)


def test_a_device_may_be_invited_anew_after_it_was_enrolled(park):
    take(park, invited(park))
    assert take(park, invited(park))


def test_no_code_from_before_a_revocation_enrols(park):
    invitation = invited(park)
    park.when(RevokeDevice(device="gate-1", cause="stolen"))
    with pytest.raises(CodeReplaced):
        take(park, invitation)


def test_a_revoked_device_may_be_invited_anew(park):
    take(park, invited(park))
    park.when(RevokeDevice(device="gate-1", cause="lost"))
    take(park, invited(park))
    assert not park.state(DEVICE, "gate-1").revoked


def test_revoked_again_is_recorded_again(park):
    invited(park)
    for _ in range(2):
        (event,) = park.when(RevokeDevice(device="gate-1", cause="lost"))
        assert event == DeviceRevoked(device="gate-1", cause="lost")
    assert park.state(DEVICE, "gate-1").revoked


def test_a_device_that_nobody_knows_cannot_be_revoked(park):
    with pytest.raises(UnknownSubject):
        park.when(RevokeDevice(device="gate-9", cause="lost"))


def test_a_device_from_before_there_were_invitations_can_be_revoked():
    park = Scenario([revoking(enrolled=True)])
    assert park.when(RevokeDevice(device="gate-1", cause="lost"))


def test_a_code_of_an_invitation_that_the_record_does_not_hold_enrols_nothing(park):
    with pytest.raises(CodeReplaced):
        take(park, UUID(int=99))


def test_a_device_of_which_something_cannot_be_read_is_not_enrolled(park):
    invitation = invited(park)
    state = DEVICE.evolves[Unknown](park.state(DEVICE, "gate-1"), park.events[-1])
    given = park.load(lambda _: ())
    given.put((DEVICE, "gate-1"), state)
    with pytest.raises(NotInThatState):
        model.take_invitation(TakeInvitation(device="gate-1", invitation=invitation), given, park.moment())


def test_a_code_is_two_groups_of_five_that_nobody_mistakes():
    codes = {new_code() for _ in range(500)}
    assert len(codes) == 500
    assert all(len(code) == 11 and code[5] == "-" for code in codes)
    assert set("".join(codes)) == {*ALPHABET, "-"}
    assert not set("ILOU") & {*ALPHABET}


def test_the_alphabet_is_crockfords():
    """The symbols of https://www.crockford.com/base32.html, from memory: digits, then letters without I, L, O and U; decoding takes I and L for 1, O for 0."""
    assert ALPHABET == "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
    assert plain("oil0-i1lo0") == "011011100"


@pytest.mark.parametrize("typed", ["k7qf3m2w9t", "K7QF3 M2W9T", " K7QF3-M2W9T ", "k7-qf3-m2w-9t"])
def test_a_code_is_read_however_it_is_typed(typed):
    assert code_hash("larchmoor", typed) == code_hash("larchmoor", "K7QF3-M2W9T")


def test_a_code_of_one_park_is_none_of_another_and_its_hash_does_not_hold_it():
    kept = code_hash("larchmoor", "K7QF3-M2W9T")
    assert kept != code_hash("elsewhere", "K7QF3-M2W9T")
    assert b"K7QF3" not in kept


def test_a_line_of_the_list_outside_that_broke_off_is_no_key_and_takes_none_with_it(tmp_path):
    revoked = Revocations(tmp_path, "larchmoor")
    revoked.record("gate-1", b"a" * 32)
    with revoked.path.open("a", encoding="utf-8") as torn:
        torn.write("\ngate-2 0123abcd")
    revoked.record("gate-3", b"c" * 32)
    assert revoked.every() == [("gate-1", b"a" * 32), ("gate-3", b"c" * 32)]
