"""Short ways to say what stands at an invented gear counter, and what it would answer at the gate."""

from datetime import date, timedelta
from typing import Any

from contracts.equipment import InspectGear, IssueGear, RegisterBottle, RegisterMarker, RegisterMask
from contracts.registration import PlayerRegistered
from services.equipment import model
from services.equipment.api import SERVICE
from services.equipment.kit import KIT, carried
from services.equipment.states import BOTTLE, MARKER, MASK
from tests.unit.scenario import NINE, Scenario

TODAY = NINE.date()


def player(name: str) -> PlayerRegistered:
    return PlayerRegistered(
        player=name,
        person=f"person-{name}",
        group=None,
        part="player",
        age_band=18,
        day_pass=f"pass-{name}",
        armband=int(name.strip("p") or 1),
        briefing_due=1,
    )


def counter() -> Scenario:
    """Three players, and two markers, two masks and a bottle for hire."""
    scenario = Scenario(SERVICE.handlers).given(player("p1"), player("p2"), player("p3"))
    for name in ("m1", "m2"):
        scenario.when(RegisterMarker(marker=name, model="Heron"))
    for name in ("k1", "k2"):
        scenario.when(RegisterMask(mask=name, model="Visor"))
    scenario.when(RegisterBottle(bottle="b1", test_due=TODAY + timedelta(days=100)))
    return scenario.at(10)


def equip(scenario: Scenario, name: str = "p1", **gear: str) -> Any:
    """Issue gear; the one event it came to."""
    (event,) = scenario.when(IssueGear(player=name, **gear))
    return event


def own(scenario: Scenario, *kinds: str, due: date = TODAY, gas: str = "air") -> None:
    """Player one brings his own marker m9, mask k9 or bottle b9."""
    if "marker" in kinds:
        scenario.when(RegisterMarker(marker="m9", owner="p1", model="Wren", gas=gas))
    if "mask" in kinds:
        scenario.when(RegisterMask(mask="k9", owner="p1", model="Lens"))
    if "bottle" in kinds:
        scenario.when(RegisterBottle(bottle="b9", owner="p1", gas=gas, test_due=due))


def inspect(scenario: Scenario, *, name: str = "p1", **found: Any) -> None:
    scenario.when(InspectGear(player=name, **found))


def found(scenario: Scenario, name: str = "p1", part: Any = "player", shown: tuple[str, ...] = ()) -> list[Any]:
    """The reasons at the gate of a field for .68 and semi; `shown`: tags of what he has on him beside what he is known to carry."""
    kit = scenario.state(KIT, name)
    has = [*shown, *(fold.tag(one) for fold, one in carried(kit))]
    markers, masks, bottles = (
        [scenario.state(fold, fold.subject(tag)) for tag in sorted(has) if tag.startswith(fold.prefix)]
        for fold in (MARKER, MASK, BOTTLE)
    )
    return model.reasons(kit, markers, masks, bottles, part, (".68",), ("semi", "pump"), scenario.moment())


def codes(scenario: Scenario, name: str = "p1", part: Any = "player", shown: tuple[str, ...] = ()) -> list[str]:
    return [one.code for one in found(scenario, name, part, shown)]


def holder(scenario: Scenario, marker: str = "m1") -> str | None:
    """Who holds a marker: by its own story, and no other player's kit says otherwise."""
    held = scenario.state(MARKER, marker).holder
    carriers = [name for name in ("p1", "p2", "p3") if marker in scenario.state(KIT, name).markers]
    assert carriers == ([held] if held else [])
    return held
