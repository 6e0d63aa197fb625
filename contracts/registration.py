"""Registration: who is here, who paid, who signed, who was briefed, who has left."""

from typing import Annotated, ClassVar, Literal

from msgspec import Meta

from contracts.envelope import Command, Data, Grant, Refusal
from contracts.words import (
    AgeBand,
    ArmbandNumber,
    Day,
    DayArmband,
    DayPass,
    FieldId,
    GroupId,
    Language,
    Part,
    PaymentId,
    PersonId,
    PlayerId,
    RecordId,
    RefundId,
    Role,
    RotationId,
    Wording,
)

Players = Annotated[tuple[PlayerId, ...], Meta(min_length=1, max_length=400)]
Amount = Annotated[int, Meta(ge=1, le=10_000_000, description="Amount in the currency's minor unit.")]
Purpose = Literal["entry", "entry_deposit", "hire", "hire_deposit", "paint", "air"]
Means = Literal["cash", "card", "voucher", "account", "transfer"]
Relationship = Annotated[
    Literal["parent", "legal_guardian", "host", "teacher", "other"],
    Meta(
        description="Whose consent it is. Only a parent or legal guardian can sign for a child: a host or a teacher cannot."
    ),
]
PaymentError = Literal["wrong_amount", "wrong_player", "recorded_twice", "payment_failed", "charged_back"]
Override = Annotated[
    Literal["goodwill", "judged_unfair", "legal_claim"],
    Meta(description="The reason for which a manager pays back what the rules would keep."),
]
WithdrawalError = Literal["wrong_child", "wrong_guardian", "misunderstood"]
PassFault = Literal["lost", "damaged", "misprinted", "shared"]
PassKeyEnd = Annotated[
    Literal["routine", "stolen"],
    Meta(description="Whether the old key may be in other hands: then passes of today that it signed hold no longer."),
]
PassKeyId = Annotated[
    str, Meta(pattern=r"^[0-9a-f]{8}$(?!\n)", description="The first four bytes of the key's SHA-256, in hex.")
]
PassPublicKey = Annotated[
    str, Meta(pattern=r"^[A-Za-z0-9+/]{43}=$(?!\n)", description="The 32 bytes of an Ed25519 public key, in base64.")
]

DESK: frozenset[Role] = frozenset({"desk", "manager"})
DESK_AND_STAGING: frozenset[Role] = frozenset({"desk", "staging", "head_referee", "manager"})
ANY_STAFF: frozenset[Role] = frozenset(
    {"desk", "gear", "chrono", "staging", "referee", "head_referee", "first_aider", "manager"}
)


class PersonRegistered(Data, frozen=True, kw_only=True):
    person: PersonId
    age_band: AgeBand


class RegisterPerson(Command, frozen=True, kw_only=True):
    """Open a record for a human being. Only the age band is kept."""

    ROLES: ClassVar[frozenset[Role]] = DESK
    person: PersonId
    age_band: AgeBand


class AgeBandRenewed(Data, frozen=True, kw_only=True):
    person: PersonId
    player: PlayerId | None
    """Who he is today, if he is here."""
    age_band: AgeBand


class RenewAgeBand(Command, frozen=True, kw_only=True):
    """Record that a person has reached a higher age band. It only rises."""

    ROLES: ClassVar[frozenset[Role]] = DESK
    person: PersonId
    age_band: AgeBand


class GroupRegistered(Data, frozen=True, kw_only=True):
    group: GroupId
    size: int
    private_session: bool


class RegisterGroup(Command, frozen=True, kw_only=True):
    """Record people who came together and want to play together."""

    ROLES: ClassVar[frozenset[Role]] = DESK
    group: GroupId
    size: Annotated[int, Meta(ge=1, le=400)]
    private_session: bool = False


class PlayerRegistered(Data, frozen=True, kw_only=True):
    player: PlayerId
    person: PersonId
    group: GroupId | None
    part: Part
    age_band: AgeBand
    day_pass: DayPass
    armband: DayArmband
    briefing_due: int
    """The version of the briefing that an arrival had to hear at that moment."""


class RegisterPlayer(Command, frozen=True, kw_only=True):
    """Admit a registered person to the park for the day, with a day pass and an armband number."""

    ROLES: ClassVar[frozenset[Role]] = DESK
    player: PlayerId
    person: PersonId
    group: GroupId | None = None
    part: Part = "player"
    day_pass: DayPass
    armband: ArmbandNumber


class PassReissued(Data, frozen=True, kw_only=True):
    player: PlayerId
    day_pass: DayPass
    replaces: DayPass
    fault: PassFault


class ReissuePass(Command, frozen=True, kw_only=True):
    """Give a player a new day pass; the old one no longer names him."""

    ROLES: ClassVar[frozenset[Role]] = DESK
    player: PlayerId
    day_pass: DayPass
    fault: PassFault


class PassKeyRenewed(Data, frozen=True, kw_only=True):
    """From this day on passes are signed by this key; the one before verifies those of its days."""

    ALSO: ClassVar[tuple[str, ...]] = ("pass_keys",)
    key: PassKeyId
    public_key: PassPublicKey
    from_day: Day
    replaces: PassKeyId
    until_day: Day
    """The last day whose passes the one before verifies."""
    cause: PassKeyEnd


class RenewPassKey(Command, frozen=True, kw_only=True):
    """Sign day passes with a new key. Passes of today hold, unless the old key was `stolen`: then none of today holds, and all are printed anew."""

    ROLES: ClassVar[frozenset[Role]] = frozenset({"manager"})
    cause: PassKeyEnd


class PaymentRecorded(Data, frozen=True, kw_only=True):
    payment: PaymentId
    players: Players
    purpose: Purpose
    means: Means
    amount_minor: Amount


class RecordPayment(Command, frozen=True, kw_only=True):
    """Record what the till took. One payment may cover several players; a deposit on the entry, a voucher and a group's account count as paid."""

    ROLES: ClassVar[frozenset[Role]] = DESK
    FACT: ClassVar[bool] = True
    CLAIMS: ClassVar[str] = "payment"
    payment: PaymentId
    players: Players
    purpose: Purpose
    means: Means
    amount_minor: Amount


class PaymentVoided(Data, frozen=True, kw_only=True):
    payment: PaymentId
    players: Players
    error: PaymentError


class VoidPayment(Command, frozen=True, kw_only=True):
    """Withdraw the record of a payment, with the reason. It stays in the log."""

    ROLES: ClassVar[frozenset[Role]] = DESK
    payment: PaymentId
    error: PaymentError


class RefundGranted(Grant, frozen=True, kw_only=True):
    refund: RefundId
    payment: PaymentId
    player: PlayerId
    amount_minor: Amount
    override: Override | None
    uncovers: tuple[PlayerId, ...]
    """Whose entry the payment no longer covers: his, once his share is paid back; everybody's, once all of it is."""


class RefundRefused(Refusal, frozen=True, kw_only=True):
    refund: RefundId
    payment: PaymentId
    player: PlayerId
    amount_minor: Amount


class Refund(Command, frozen=True, kw_only=True):
    """Ask to pay a player back. Entry is forfeited by an ejection unless a manager overrides it with a reason."""

    ROLES: ClassVar[frozenset[Role]] = DESK
    refund: RefundId
    payment: PaymentId
    player: PlayerId
    amount_minor: Amount
    override: Override | None = None


class WaiverSigned(Data, frozen=True, kw_only=True):
    person: PersonId
    wording: Wording
    language: Language


class SignWaiver(Command, frozen=True, kw_only=True):
    """Record that a person signed the waiver, in which wording. Whether it binds is for local law, not for this record."""

    ROLES: ClassVar[frozenset[Role]] = DESK
    FACT: ClassVar[bool] = True
    person: PersonId
    wording: Wording
    language: Language = "en"


class ConsentGiven(Data, frozen=True, kw_only=True):
    person: PersonId
    guardian: PersonId
    relationship: Relationship
    wording: Wording
    on_site: bool
    responsible: PersonId | None


class GiveConsent(Command, frozen=True, kw_only=True):
    """Record a guardian's consent for one child: each child's own guardian signs. Who is not on site names a responsible adult who is."""

    ROLES: ClassVar[frozenset[Role]] = DESK
    person: PersonId
    guardian: PersonId
    relationship: Relationship
    wording: Wording
    on_site: bool = True
    responsible: PersonId | None = None


class ConsentWithdrawn(Data, frozen=True, kw_only=True):
    person: PersonId
    guardian: PersonId


class WithdrawConsent(Command, frozen=True, kw_only=True):
    """Record that a guardian takes consent back: the child plays no further."""

    ROLES: ClassVar[frozenset[Role]] = ANY_STAFF
    FACT: ClassVar[bool] = True
    person: PersonId
    guardian: PersonId


class WithdrawalVoided(Data, frozen=True, kw_only=True):
    person: PersonId
    guardian: PersonId
    error: WithdrawalError


class VoidWithdrawal(Command, frozen=True, kw_only=True):
    """Withdraw the record that somebody took consent back, where it was a mistake. A guardian who thinks better of it consents again instead."""

    ROLES: ClassVar[frozenset[Role]] = frozenset({"manager"})
    person: PersonId
    guardian: PersonId
    error: WithdrawalError


class GuardianLeft(Data, frozen=True, kw_only=True):
    players: Players
    guardian: PersonId
    responsible: PersonId | None


class RecordGuardianLeft(Command, frozen=True, kw_only=True):
    """Record that a guardian left the park, and which adult answers for the children now."""

    ROLES: ClassVar[frozenset[Role]] = DESK_AND_STAGING
    FACT: ClassVar[bool] = True
    players: Players
    guardian: PersonId
    responsible: PersonId | None = None


class BriefingHeld(Data, frozen=True, kw_only=True):
    briefing: RecordId
    version: int
    language: Language
    players: Players


class HoldBriefing(Command, frozen=True, kw_only=True):
    """Record that these players heard the safety briefing, in which version and language."""

    ROLES: ClassVar[frozenset[Role]] = DESK_AND_STAGING | {"referee"}
    FACT: ClassVar[bool] = True
    briefing: RecordId
    version: Annotated[int, Meta(ge=1)]
    language: Language = "en"
    players: Players


class RotationAssigned(Data, frozen=True, kw_only=True):
    rotation: RotationId
    field: FieldId
    players: Players


class AssignRotation(Command, frozen=True, kw_only=True):
    """Put players into a rotation: the series of games on one field whose games serve their sit-outs."""

    ROLES: ClassVar[frozenset[Role]] = DESK_AND_STAGING
    rotation: RotationId
    field: FieldId
    players: Players


class PlayerLeft(Data, frozen=True, kw_only=True):
    player: PlayerId


class RecordLeft(Command, frozen=True, kw_only=True):
    """Record that an adult player left the park. A minor is handed over instead."""

    ROLES: ClassVar[frozenset[Role]] = ANY_STAFF
    FACT: ClassVar[bool] = True
    player: PlayerId


class MinorHandedOver(Data, frozen=True, kw_only=True):
    player: PlayerId
    adult: PersonId


class HandOverMinor(Command, frozen=True, kw_only=True):
    """Record that a minor was handed to a named adult, and so left the park."""

    ROLES: ClassVar[frozenset[Role]] = ANY_STAFF
    FACT: ClassVar[bool] = True
    player: PlayerId
    adult: PersonId


class PlayerReturned(Data, frozen=True, kw_only=True):
    player: PlayerId


class RecordReturn(Command, frozen=True, kw_only=True):
    """Record that a player who had left came back the same day: as the same player, with all that stands about him."""

    ROLES: ClassVar[frozenset[Role]] = DESK
    player: PlayerId


class PersonBanned(Data, frozen=True, kw_only=True):
    person: PersonId
    until: Day | None


class BanPerson(Command, frozen=True, kw_only=True):
    """Ban a person from the park, until a day or for good."""

    ROLES: ClassVar[frozenset[Role]] = frozenset({"manager"})
    person: PersonId
    until: Day | None = None


class BanLifted(Data, frozen=True, kw_only=True):
    person: PersonId


class LiftBan(Command, frozen=True, kw_only=True):
    """Lift a person's ban."""

    ROLES: ClassVar[frozenset[Role]] = frozenset({"manager"})
    person: PersonId
