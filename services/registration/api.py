"""The desk's commands and the subjects that each rests on. A refund rests on discipline too, so it is decided beside clearance."""

from collections.abc import Callable, Iterable

from contracts import registration as words
from contracts.envelope import Command
from services.core.command import Handler
from services.core.fold import Given, Subject
from services.core.service import Service
from services.registration import bans, desk, leaving, papers, till
from services.registration.finding import found_player
from services.registration.money import PAYMENT
from services.registration.passes import renewing
from services.registration.passes import routes as passes
from services.registration.persons import PERSON
from services.registration.states import ARMBAND, BRIEFINGS, FIELD, GROUP, PASS, PLAYER

Reads = Callable[[Command, Given], Iterable[Subject]]


def _people(*attributes: str) -> Reads:
    """The persons that these fields of the command name."""
    return lambda command, _: {
        (PERSON, name) for attribute in attributes if (name := getattr(command, attribute)) is not None
    }


def _player(command: Command, _: Given) -> set[Subject]:
    return {(PLAYER, command.player)}  # type: ignore[attr-defined]


def _players(command: Command, _: Given) -> set[Subject]:
    return {(PLAYER, name) for name in command.players}  # type: ignore[attr-defined]


def _arrival(command: words.RegisterPlayer, _: Given) -> set[Subject]:
    wanted: set[Subject] = {
        (PERSON, command.person),
        (PLAYER, command.player),
        (PASS, command.day_pass),
        (ARMBAND, str(command.armband)),
    }
    return wanted if command.group is None else wanted | {(GROUP, command.group)}


SERVICE = Service(
    "registration",
    (
        Handler(words.RegisterPerson, _people("person"), desk.register_person),
        Handler(words.RenewAgeBand, _people("person"), desk.renew_age_band),
        Handler(words.RegisterGroup, lambda c, _: {(GROUP, c.group)}, desk.register_group),
        Handler(words.RegisterPlayer, _arrival, desk.register_player),
        Handler(words.ReissuePass, lambda c, _: {(PLAYER, c.player), (PASS, c.day_pass)}, desk.reissue_pass),
        Handler(words.HoldBriefing, lambda c, g: {*_players(c, g), (BRIEFINGS, "")}, desk.hold_briefing),
        Handler(words.AssignRotation, lambda c, g: {*_players(c, g), (FIELD, c.field)}, desk.assign_rotation),
        Handler(words.RecordPayment, lambda c, g: {*_players(c, g), (PAYMENT, c.payment)}, till.record_payment),
        Handler(words.VoidPayment, lambda c, _: {(PAYMENT, c.payment)}, till.void_payment),
        Handler(words.SignWaiver, _people("person"), papers.sign_waiver),
        Handler(words.GiveConsent, _people("person", "guardian", "responsible"), papers.give_consent),
        Handler(words.WithdrawConsent, _people("person", "guardian"), papers.withdraw_consent),
        Handler(words.VoidWithdrawal, _people("person", "guardian"), papers.void_withdrawal),
        Handler(
            words.RecordGuardianLeft,
            lambda c, g: {*_players(c, g), *_people("guardian", "responsible")(c, g)},
            papers.record_guardian_left,
        ),
        Handler(words.RecordLeft, _player, leaving.record_left),
        Handler(words.HandOverMinor, lambda c, _: {(PLAYER, c.player), (PERSON, c.adult)}, leaving.hand_over_minor),
        Handler(words.RecordReturn, _player, leaving.record_return),
        Handler(words.BanPerson, _people("person"), bans.ban_person),
        Handler(words.LiftBan, _people("person"), bans.lift_ban),
    ),
    (found_player, renewing.ROUTE, *passes.ROUTES),
    (passes.keyrings,),
)
