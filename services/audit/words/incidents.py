"""Who was hurt or unfit, and what went wrong, in words."""

from contracts.incidents import IncidentRecorded, PlayerFit, PlayerUnfit
from services.audit.words.scene import Scene, Words, in_game, listed, on_field, spoken


def _recorded(data: IncidentRecorded, scene: Scene) -> str:
    gear = [listed(data.markers, "marker") if data.markers else "", listed(data.masks, "mask") if data.masks else ""]
    people = [f"concerning {scene.players(data.players)}"] if data.players else []
    concerned = ", ".join([*people, *(one for one in gear if one)])
    called = (
        "The emergency services were called."
        if data.emergency_services
        else "No call for the emergency services was recorded with it."
    )
    told = f"Incident {data.incident} was recorded{on_field(data.field)}{in_game(data.game)}: {spoken(data.kind)}"
    return f"{told}{', ' if concerned else ''}{concerned}. {called}"


WORDS: Words = {
    PlayerUnfit: lambda d, _: f"Player {d.player} was recorded as not fit to play: {spoken(d.cause)}.",
    PlayerFit: lambda d, _: f"Player {d.player} was declared fit to play.",
    IncidentRecorded: _recorded,
}
