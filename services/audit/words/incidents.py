"""Who was hurt or unfit, and what went wrong, in words."""

from contracts.incidents import (
    CustodyPassed,
    CustodyTaken,
    EntryWithdrawn,
    HelpArrived,
    HelpCalled,
    IncidentClosed,
    IncidentRecorded,
    InjuryRecorded,
    NotificationRecorded,
    OutcomeRecorded,
    PlayerFit,
    PlayerUnfit,
    SceneRecorded,
    TreatmentGiven,
    WitnessNamed,
)
from services.audit.words.scene import Scene, Words, begun, in_game, listed, on_field, spoken, together


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


def _whom(data: InjuryRecorded | TreatmentGiven | OutcomeRecorded) -> str:
    if data.player:
        return f"player {data.player}"
    return f"worker {data.worker}" if data.worker else "somebody who is neither a player nor staff"


def _injury(data: InjuryRecorded, _: Scene) -> str:
    side = f"{data.side} " if data.side else ""
    return (
        f"{begun(_whom(data))} was hurt in incident {data.incident}: {side}{spoken(data.part)}, {spoken(data.injury)}."
    )


def _treatment(data: TreatmentGiven, _: Scene) -> str:
    by = f"by {data.staff}" if data.staff else "by nobody of staff"
    return f"First aid to {_whom(data)} in incident {data.incident}, {by}: {spoken(data.treatment)}."


def _scene(data: SceneRecorded, _: Scene) -> str:
    named = [
        f"place {spoken(data.place)}" if data.place else "",
        f"weather {spoken(data.sky)}" if data.sky else "",
        f"paint batch {data.paint_batch}" if data.paint_batch else "",
        listed(data.bottles, "bottle") if data.bottles else "",
        listed(data.tests, "test") if data.tests else "",
    ]
    return f"The scene of incident {data.incident} was recorded: {together(filter(None, named))}."


def _witness(data: WitnessNamed, _: Scene) -> str:
    named = (("person", data.person), ("player", data.player), ("staff", data.staff))
    who = next((f"{kind} {name}" for kind, name in named if name), "somebody")
    return f"{begun(who)} was named as a witness of incident {data.incident}."


def _gear(data: CustodyTaken | CustodyPassed) -> str:
    named = (("marker", data.marker), ("mask", data.mask), ("bottle", data.bottle))
    return together(f"{kind} {name}" for kind, name in named if name) if any(name for _, name in named) else "Gear"


def _taken(data: CustodyTaken, _: Scene) -> str:
    return f"{begun(_gear(data))} was taken in as evidence in incident {data.incident} by {data.staff}, uncleaned; kept: {spoken(data.kept)}."


def _passed(data: CustodyPassed, _: Scene) -> str:
    taker = data.taker or f"the {spoken(data.outside or 'outside')}"
    return f"{begun(_gear(data))}, evidence in incident {data.incident}, passed from {data.giver} to {taker}; kept: {spoken(data.kept)}."


def _withdrawn(data: EntryWithdrawn, scene: Scene) -> str:
    named = [
        scene.players(data.players) if data.players else "",
        listed(data.persons, "person") if data.persons else "",
        *(
            listed(names, what) if names else ""
            for names, what in ((data.markers, "marker"), (data.masks, "mask"), (data.bottles, "bottle"))
        ),
    ]
    about = together(filter(None, named)) if any(named) else ""
    return (
        f"Of the record of incident {data.incident} an entry was withdrawn, as {spoken(data.slip)}: {spoken(data.kind)}"
        f"{', about ' if about else ''}{about}. What followed from it was not ended by that."
    )


def _closed(data: IncidentClosed, _: Scene) -> str:
    lacks = f"with this missing: {together(map(spoken, data.missing))}" if data.missing else "with nothing missing"
    return f"The record of incident {data.incident} was closed, {lacks}."


WORDS: Words = {
    PlayerUnfit: lambda d, _: f"Player {d.player} was recorded as not fit to play: {spoken(d.cause)}.",
    PlayerFit: lambda d, _: f"Player {d.player} was declared fit to play.",
    IncidentRecorded: _recorded,
    InjuryRecorded: _injury,
    TreatmentGiven: _treatment,
    OutcomeRecorded: lambda d, _: (
        f"How it ended for {_whom(d)} in incident {d.incident}, as far as was known: {spoken(d.outcome)}."
    ),
    SceneRecorded: _scene,
    HelpCalled: lambda d, _: f"The emergency services were called in incident {d.incident}: {spoken(d.service)}.",
    HelpArrived: lambda d, _: f"The emergency services came in incident {d.incident}: {spoken(d.service)}.",
    WitnessNamed: _witness,
    CustodyTaken: _taken,
    CustodyPassed: _passed,
    NotificationRecorded: lambda d, _: f"Incident {d.incident} was reported, as reminder {d.reminder} asks.",
    EntryWithdrawn: _withdrawn,
    IncidentClosed: _closed,
}
