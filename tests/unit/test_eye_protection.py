"""Nothing in the contracts can waive eye protection: no rule, no command, no event, and no rules whatever clear a player without a mask.

Why: the energy per area of a common ball is above the level at which half of eyes rupture (see `tests/checks/test_judgement.py`).
"""

import re
from collections.abc import Iterator
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from msgspec import inspect
from msgspec.inspect import LiteralType, Metadata, StructType, Type, UnionType, VarTupleType
from msgspec.structs import replace

from contracts.catalogue import COMMANDS, EVENTS, OLD
from contracts.equipment import IssueGear, RegisterMarker
from contracts.registration import HoldBriefing, RecordPayment, RegisterPerson, RegisterPlayer, SignWaiver
from contracts.rules import Rules
from contracts.velocity import TestMarker
from services.clearance import model
from services.core.rules import RULES
from tests.unit.instances import strategy
from tests.unit.scenario import Scenario
from tests.unit.test_clearance import codes, park

__all__ = ["park"]
EYE = re.compile(r"mask|goggle|visor|lens|eye|face|spectacle|strap")
PERMISSION = re.compile(
    r"waive[^r]|waive$|exempt|skip|allow|optional|bypass|ignore|overrid|unless|without|permit|disable|excuse|need|requir|enforce"
)


def fields(kind: Type, path: str = "") -> Iterator[tuple[str, str, Type]]:
    """Every field in a type and whatever it holds, with its path."""
    match kind:
        case StructType():
            for field in kind.fields:
                here = f"{path}.{field.name}"
                yield here, field.name, field.type
                yield from fields(field.type, here)
        case Metadata():
            yield from fields(kind.type, path)
        case UnionType():
            for one in kind.types:
                yield from fields(one, path)
        case VarTupleType():
            yield from fields(kind.item_type, path)


def words(kind: Type) -> Iterator[str]:
    match kind:
        case LiteralType():
            yield from map(str, kind.values)
        case Metadata():
            yield from words(kind.type)
        case UnionType():
            for one in kind.types:
                yield from words(one)
        case VarTupleType():
            yield from words(kind.item_type)


def names_masks(kind: Type) -> bool:
    """Whether it is the name of a mask, several of them, or none."""
    match kind:
        case Metadata():
            return (kind.extra or {}).get("tag") == "mask" or names_masks(kind.type)
        case UnionType():
            return all(one == inspect.NoneType() or names_masks(one) for one in kind.types)
        case VarTupleType():
            return names_masks(kind.item_type)
    return False


CONTRACTS: dict[str, type[Any]] = {
    "rules": Rules,
    **EVENTS,
    **{f"{name} v{version}": data for (name, version), (data, _) in OLD.items()},
    **COMMANDS,
}
WALKED = [one for kind in CONTRACTS.values() for one in fields(inspect.type_info(kind))]


def test_the_walk_sees_every_event_every_command_and_the_rules_down_to_their_leaves():
    paths = {path for path, _, _ in WALKED}
    assert {".rules.velocity.law.energy_j", ".misreads.kind", ".velocity.chrono.hours", ".entrants.player"} <= paths
    assert len(CONTRACTS) > 150


def test_whatever_speaks_of_a_mask_names_one_and_says_no_more_of_it():
    spoken = [(path, kind) for path, name, kind in WALKED if EYE.search(name)]
    assert spoken
    assert [path for path, kind in spoken if not names_masks(kind)] == []


def test_every_word_that_speaks_of_one_speaks_of_a_danger():
    """A new one here is to be thought about by a person."""
    found = {word for _, _, kind in WALKED for word in words(kind) if EYE.search(word)}
    assert found == {"mask_off", "lens_scratched", "lens_seal", "strap", "eye", "face", "loss_of_an_eye"}


def test_no_field_and_no_word_permits_anything_but_what_a_manager_may_pay_back_and_who_stays_off_a_list():
    """`override` is of a refund, `without` leaves players off a game list."""
    names = {name for _, name, _ in WALKED if PERMISSION.search(name)}
    assert names == {"override", "without"}
    assert {word for _, _, kind in WALKED for word in words(kind) if PERMISSION.search(word)} == set()


@pytest.fixture
def maskless(park: Scenario) -> Scenario:
    """With p9, a hired adult who lacks nothing else."""
    park.when(RegisterPerson(person="h9", age_band=18))
    park.when(SignWaiver(person="h9", wording="w1"))
    park.when(RegisterPlayer(player="p9", person="h9", day_pass="pass9", armband=9))  # noqa: S106
    park.when(RecordPayment(payment="pay9", players=("p9",), purpose="entry", means="cash", amount_minor=2500))
    park.when(HoldBriefing(briefing="b1", version=1, players=("p9",)))
    park.when(RegisterMarker(marker="m9", model="Heron"))
    park.when(TestMarker(test="t9", marker="m9", chrono="c1", readings_fps=(281, 280, 279), sealed=True))
    park.when(IssueGear(player="p9", marker="m9"))
    return park


def test_a_mask_is_all_that_he_lacks(maskless):
    assert codes(maskless, "p9") == ["mask_missing"]


@pytest.mark.parametrize("part", ["player", "referee", "photographer", "chaperone"])
def test_no_part_on_a_field_goes_without(park, part):
    park.when(RegisterPerson(person="h8", age_band=18))
    park.when(RegisterPlayer(player="p8", person="h8", day_pass="pass8", armband=8, part=part))  # noqa: S106
    assert "mask_missing" in codes(park, "p8")


@settings(max_examples=30, deadline=None, suppress_health_check=list(HealthCheck))
@given(strategy(Rules))
def test_under_no_rules_whatever_is_he_cleared(maskless, rules):
    read = maskless.load(lambda given: {(RULES, ""), *model.subjects("p9", "birch")(given)})
    moment = replace(maskless.moment(), rules=replace(rules, time_zone="Etc/UTC"))
    assert "mask_missing" in [one.code for one in model.reasons(read, "p9", "birch", moment)]
