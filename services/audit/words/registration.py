"""What was recorded at the desk, in words."""

from contracts.registration import (
    AgeBandRenewed,
    BanLifted,
    BriefingHeld,
    ConsentGiven,
    ConsentWithdrawn,
    GroupRegistered,
    GuardianLeft,
    MinorHandedOver,
    PassKeyRenewed,
    PassReissued,
    PaymentRecorded,
    PaymentVoided,
    PersonBanned,
    PersonRegistered,
    PlayerLeft,
    PlayerRegistered,
    PlayerReturned,
    RefundGranted,
    RefundRefused,
    RotationAssigned,
    WaiverSigned,
    WithdrawalVoided,
)
from services.audit.words.scene import Scene, Words, because, begun, spoken


def _age(band: int) -> str:
    return f"at least {band} years old" if band else "under 8 years old"


def _player(data: PlayerRegistered, _: Scene) -> str:
    group = f", with group {data.group}" if data.group else ""
    return (
        f"Player {data.player} (person {data.person}, {_age(data.age_band)}) came to the park as {data.part}{group}: "
        f"day pass {data.day_pass}, armband {data.armband}."
    )


def _payment(data: PaymentRecorded, scene: Scene) -> str:
    return (
        f"Payment {data.payment} of {scene.money(data.amount_minor)} by {spoken(data.means)} was taken for "
        f"{spoken(data.purpose)}; it covers {scene.players(data.players)}."
    )


def _payment_voided(data: PaymentVoided, scene: Scene) -> str:
    return f"Payment {data.payment} was withdrawn ({spoken(data.error)}); it had covered {scene.players(data.players)}."


def _refunded(data: RefundGranted, scene: Scene) -> str:
    override = f" A manager overrode the rules: {spoken(data.override)}." if data.override else ""
    uncovers = f" It no longer covers the entry of {scene.players(data.uncovers)}." if data.uncovers else ""
    return (
        f"Refund {data.refund}: {scene.money(data.amount_minor)} of payment {data.payment} was paid back to player "
        f"{data.player}.{override}{uncovers}"
    )


def _not_refunded(data: RefundRefused, scene: Scene) -> str:
    asked = f"{scene.money(data.amount_minor)} of payment {data.payment} back (refund {data.refund})"
    return because(f"Player {data.player} asked for {asked}; it was refused", data.reasons)


def _consent(data: ConsentGiven, _: Scene) -> str:
    there = "who is on site" if data.on_site else "who is not on site"
    stead = f"; adult {data.responsible} answers for the child here" if data.responsible else ""
    return (
        f"{spoken(data.relationship).capitalize()} {data.guardian}, {there}, consented for {data.person} in wording "
        f"{data.wording}{stead}."
    )


def _guardian_left(data: GuardianLeft, scene: Scene) -> str:
    stead = f"adult {data.responsible} answers from now on" if data.responsible else "no other adult was named"
    return f"Adult {data.guardian}, who answered for {scene.players(data.players)}, left the park; {stead}."


def _banned(data: PersonBanned, _: Scene) -> str:
    until = f"until {data.until:%Y-%m-%d}" if data.until else "for good"
    return f"Person {data.person} was banned from the park {until}."


WORDS: Words = {
    PersonRegistered: lambda d, _: f"Person {d.person} was entered, {_age(d.age_band)}.",
    AgeBandRenewed: lambda d, _: f"Person {d.person} is {_age(d.age_band)} now.",
    GroupRegistered: lambda d, _: (
        f"Group {d.group} of {d.size} was entered{', with a private session' if d.private_session else ''}."
    ),
    PlayerRegistered: _player,
    PassReissued: lambda d, _: (
        f"Player {d.player} was given day pass {d.day_pass}; pass {d.replaces} was {spoken(d.fault)} and no longer names him."
    ),
    PassKeyRenewed: lambda d, _: (
        f"Day passes are signed by key {d.key} from {d.from_day:%Y-%m-%d} on; key {d.replaces} "
        f"{'was reported stolen' if d.cause == 'stolen' else 'was replaced'} and holds for passes up to {d.until_day:%Y-%m-%d}."
    ),
    PaymentRecorded: _payment,
    PaymentVoided: _payment_voided,
    RefundGranted: _refunded,
    RefundRefused: _not_refunded,
    WaiverSigned: lambda d, _: f"Person {d.person} signed the waiver in wording {d.wording} ({d.language}).",
    ConsentGiven: _consent,
    ConsentWithdrawn: lambda d, _: f"Guardian {d.guardian} took the consent for {d.person} back.",
    WithdrawalVoided: lambda d, _: (
        f"The record that {d.guardian} took the consent for {d.person} back was withdrawn ({spoken(d.error)})."
    ),
    GuardianLeft: _guardian_left,
    BriefingHeld: lambda d, s: (
        f"The safety briefing was held in version {d.version} ({d.language}, briefing {d.briefing}); "
        f"{s.players(d.players)} heard it."
    ),
    RotationAssigned: lambda d, s: f"{begun(s.players(d.players))} joined rotation {d.rotation} on field {d.field}.",
    PlayerLeft: lambda d, _: f"Player {d.player} left the park.",
    MinorHandedOver: lambda d, _: f"Player {d.player}, a minor, was handed over to adult {d.adult} and left the park.",
    PlayerReturned: lambda d, _: f"Player {d.player} came back to the park.",
    PersonBanned: _banned,
    BanLifted: lambda d, _: f"The ban of person {d.person} was lifted.",
}
