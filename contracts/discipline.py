"""Discipline: cautions, the appeals against them, and what only the head referee may decide."""

from typing import Annotated, ClassVar, Literal

from msgspec import Meta

from contracts.envelope import Command, Data
from contracts.rules import Weight
from contracts.words import ArmbandNumber, CautionId, Colour, FieldId, GameId, Instant, PlayerId, RecordId, Role

HEAD: frozenset[Role] = frozenset({"head_referee", "manager"})
CAUTIONERS: frozenset[Role] = frozenset({"referee", "staging", "gear", "chrono", "head_referee", "manager"})
ViolationCode = Annotated[
    str, Meta(pattern=r"^[a-z][a-z0-9-]{1,39}$(?!\n)", description="An entry of the catalogue in the park rules.")
]
VoidCause = Literal["wrong_player", "recorded_twice", "not_a_violation", "appeal_upheld", "entered_in_error"]


class CautionRecorded(Data, frozen=True, kw_only=True):
    caution: CautionId
    player: PlayerId | None
    field: FieldId | None
    game: GameId | None
    colour: Colour | None
    armband: ArmbandNumber | None
    violation: ViolationCode
    weight: Weight


class Caution(Command, frozen=True, kw_only=True):
    """Record a violation against a player, or against a colour and armband number that staging resolves later."""

    ROLES: ClassVar[frozenset[Role]] = CAUTIONERS
    FACT: ClassVar[bool] = True
    CLAIMS: ClassVar[str] = "caution"
    caution: CautionId
    violation: ViolationCode
    player: PlayerId | None = None
    field: FieldId | None = None
    game: GameId | None = None
    colour: Colour | None = None
    armband: ArmbandNumber | None = None


class CautionResolved(Data, frozen=True, kw_only=True):
    """Says whom a caution by colour and number was about; repeats what the fold of the player needs."""

    caution: CautionId
    player: PlayerId
    violation: ViolationCode
    weight: Weight
    field: FieldId | None
    game: GameId | None
    happened_at: Instant
    """When the act happened, as the caution said."""


class ResolveCaution(Command, frozen=True, kw_only=True):
    """Say which player a caution by colour and number was about."""

    ROLES: ClassVar[frozenset[Role]] = frozenset({"staging", "referee", "head_referee", "manager"})
    caution: CautionId
    player: PlayerId


class CautionVoided(Data, frozen=True, kw_only=True):
    caution: CautionId
    player: PlayerId | None
    cause: VoidCause


class VoidCaution(Command, frozen=True, kw_only=True):
    """Withdraw a caution, with the reason. Nothing is deleted; sit-outs already served offset any that stand.

    Without a player it is about whomever the caution names, or about nobody yet. The device that recorded it by mistake may withdraw it
    itself for some minutes by rule; then, and for any other cause, the head referee or a manager does.
    """

    ROLES: ClassVar[frozenset[Role]] = CAUTIONERS
    caution: CautionId
    player: PlayerId | None = None
    cause: VoidCause


class SeparateActRuled(Data, frozen=True, kw_only=True):
    caution: CautionId
    player: PlayerId


class RuleSeparateAct(Command, frozen=True, kw_only=True):
    """Rule that an entry so close to another was a separate act, and counts."""

    ROLES: ClassVar[frozenset[Role]] = HEAD
    caution: CautionId
    player: PlayerId


class EjectionConfirmed(Data, frozen=True, kw_only=True):
    player: PlayerId
    caution: CautionId


class ConfirmEjection(Command, frozen=True, kw_only=True):
    """Confirm a stand-down for a violation that weighs two: the player is ejected and entry forfeited."""

    ROLES: ClassVar[frozenset[Role]] = HEAD
    player: PlayerId
    caution: CautionId


class PlayerReinstated(Data, frozen=True, kw_only=True):
    player: PlayerId


class ReinstatePlayer(Command, frozen=True, kw_only=True):
    """Bring an ejected or stood-down player back. The cautions of before stand, without further consequence."""

    ROLES: ClassVar[frozenset[Role]] = HEAD
    player: PlayerId


class AppealRaised(Data, frozen=True, kw_only=True):
    appeal: RecordId
    caution: CautionId
    player: PlayerId


class RaiseAppeal(Command, frozen=True, kw_only=True):
    """Record that a player disputes a caution. Until it is decided the caution stands."""

    ROLES: ClassVar[frozenset[Role]] = CAUTIONERS | {"desk"}
    FACT: ClassVar[bool] = True
    appeal: RecordId
    caution: CautionId
    player: PlayerId


class AppealDecided(Data, frozen=True, kw_only=True):
    appeal: RecordId
    caution: CautionId
    player: PlayerId
    upheld: bool


class DecideAppeal(Command, frozen=True, kw_only=True):
    """Decide an appeal; upholding it voids the caution."""

    ROLES: ClassVar[frozenset[Role]] = HEAD
    appeal: RecordId
    caution: CautionId
    player: PlayerId
    upheld: bool
