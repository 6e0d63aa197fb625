"""Whoever reads along gets the events as they are: so no event may hold free text or anything of a person but opaque ids."""

from typing import Any

import pytest
from msgspec import inspect
from msgspec.inspect import AnyType, Metadata, RawType, StrType, StructType, UnionType, VarTupleType

from contracts.catalogue import EVENTS
from contracts.envelope import Basis, Reason
from contracts.rules import Rules


def texts(kind: Any, where: str = "", within: tuple[type, ...] = ()) -> set[str]:  # noqa: PLR0911 - a case for each kind of type
    """The fields below a type that can hold any text: strings without a pattern, and anything at all."""
    match kind:
        case Metadata():
            return texts(kind.type, where, within)
        case StrType():
            return set() if kind.pattern else {where}
        case AnyType() | RawType():
            return {where}
        case UnionType():
            return {found for one in kind.types for found in texts(one, where, within)}
        case VarTupleType():
            return texts(kind.item_type, where, within)
        case StructType() if kind.cls not in within:
            inner = (*within, kind.cls)
            return {
                found
                for field in kind.fields
                for found in texts(field.type, f"{kind.cls.__name__}.{field.encode_name}", inner)
            }
    return set()


def test_the_search_finds_a_text_without_a_pattern_wherever_it_lies():
    assert texts(inspect.type_info(Reason)) == {"Reason.code", "Reason.sentence", "Reason.where", "Reason.subject"}
    assert texts(inspect.type_info(tuple[Reason, ...] | None)) == texts(inspect.type_info(Reason))
    assert texts(inspect.type_info(Basis)) == {"Basis.rules"}


OF_THE_PARK = {
    "FieldConfigured.title", "FieldCarried.title", "BriefingRules.text", "Check.title", "Reminder.title", "Violation.title",
}  # fmt: skip
"""What a manager writes about the park itself, for everybody to read: names of fields, the briefing, the titles of its rules."""
OF_OURS = {
    "Basis.rules", "Reason.code", "Reason.sentence", "Reason.subject", "Reason.where", "EpochBegun.checkpoint", "KeyAdopted.vkey", "KeyAdopted.replaces",
}  # fmt: skip
"""What this software puts together itself, out of rules, ids and numbers; nobody can type into it."""


def test_no_event_holds_a_text_that_anybody_could_type_a_name_into():
    assert set().union(*(texts(inspect.type_info(data)) for data in EVENTS.values())) == OF_THE_PARK | OF_OURS


def test_the_park_rules_hold_no_other_text_than_that():
    assert texts(inspect.type_info(Rules)) <= OF_THE_PARK


@pytest.mark.parametrize(
    "field", ["name", "birth_date", "email", "phone", "address", "text", "signature", "url", "secret"]
)
def test_no_event_has_a_field_for_what_belongs_in_the_vault(field):
    assert not [kind for kind, data in EVENTS.items() if field in data.__struct_fields__]
