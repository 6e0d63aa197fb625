"""What referees and the head referee recorded, in words."""

from contracts.discipline import (
    AppealDecided,
    AppealRaised,
    CautionRecorded,
    CautionResolved,
    CautionVoided,
    EjectionConfirmed,
    PlayerReinstated,
    SeparateActRuled,
)
from services.audit.words.scene import Scene, Words, begun, in_game, on_field, spoken

_WEIGHTS = {0: "a note", 1: "a caution", 2: "a violation that weighs two cautions"}


def _cautioned(data: CautionRecorded, _: Scene) -> str:
    whom = f"player {data.player}"
    if data.player is None:
        worn = [data.colour, None if data.armband is None else f"armband {data.armband}"]
        whom = f"somebody not yet named ({', '.join(one for one in worn if one) or 'no number seen'})"
    where = f"{on_field(data.field)}{in_game(data.game)}"
    return (
        f"{begun(_WEIGHTS[data.weight])} was recorded against {whom}{where}: {spoken(data.violation)} ({data.caution})."
    )


def _resolved(data: CautionResolved, scene: Scene) -> str:
    return (
        f"Caution {data.caution} of {scene.clock(data.happened_at)} for {spoken(data.violation)}"
        f"{on_field(data.field)}{in_game(data.game)} was said to be about player {data.player}."
    )


def _voided(data: CautionVoided, _: Scene) -> str:
    about = f" about player {data.player}" if data.player else ""
    return f"Caution {data.caution}{about} was withdrawn: {spoken(data.cause)}."


WORDS: Words = {
    CautionRecorded: _cautioned,
    CautionResolved: _resolved,
    CautionVoided: _voided,
    SeparateActRuled: lambda d, _: (
        f"The head referee ruled that caution {d.caution} about player {d.player} was for a separate act."
    ),
    EjectionConfirmed: lambda d, _: f"The ejection of player {d.player} for caution {d.caution} was confirmed.",
    PlayerReinstated: lambda d, _: f"Player {d.player} was brought back.",
    AppealRaised: lambda d, _: f"Player {d.player} disputed caution {d.caution} (appeal {d.appeal}).",
    AppealDecided: lambda d, _: (
        f"Appeal {d.appeal} of player {d.player} against caution {d.caution} was {'upheld' if d.upheld else 'turned down'}."
    ),
}
