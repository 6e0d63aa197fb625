"""A marker asked about at the bench. The figures are the rules' defaults: common practice, no source."""

import pytest
from msgspec.structs import replace

from contracts.envelope import Unknown
from contracts.games import ConfigureField
from contracts.limits import Limit
from contracts.park import RulesAdopted
from contracts.problems import UnknownSubject
from contracts.rules import Rules, VelocityRules
from contracts.velocity import ChangeSetUp, CheckChrono, RegisterChrono, SpotCheckMarker, TestMarker
from deploy.services import SERVICES
from services.core.rules import RULES
from services.velocity.markers import subjects, told
from tests.unit.scenario import Scenario
from tests.unit.test_velocity import marker

HANDLERS = [handler for service in SERVICES for handler in service.handlers]


@pytest.fixture
def park() -> Scenario:
    park = Scenario(HANDLERS).given(marker())
    park.when(ConfigureField(field="birch", title="Birch"))
    park.when(ConfigureField(field="fern", title="Fern", limit_fps=260, limit=Limit(speed_mps=70)))
    park.when(RegisterChrono(chrono="c1"))
    park.when(CheckChrono(chrono="c1", good=True))
    return park.at(10)


def shoot(park: Scenario, *readings: float, **more: object) -> None:
    park.when(TestMarker(test=f"t{len(park.events)}", marker="m1", chrono="c1", readings_fps=readings, **more))


def asked(park: Scenario, field: str | None = None, name: str = "m1"):
    given = park.load(lambda given: {(RULES, ""), *subjects(name, given)})
    return told(name, field, given, park.moment())


def test_a_marker_that_was_never_measured_is_cleared_for_no_field(park):
    found = asked(park)
    assert (found.calibre, found.strings, found.voided_by) == (".68", (), None)
    assert [(one.line, one.cleared) for one in found.fields] == [
        ("Birch: not measured", False),
        ("Fern: not measured", False),
    ]
    assert [reason.code for one in found.fields for reason in one.reasons] == ["marker_not_tested"] * 2


def test_each_field_is_answered_by_its_own_limit(park):
    shoot(park, 258, 12, 257, 259.4, temperature_c=14, sealed=True)
    found = asked(park)
    (string,) = found.strings
    assert (string.readings_fps, string.sealed, string.temperature_c, string.ball_g) == (
        (258, 257, 259.4),
        True,
        14,
        3.2,
    )
    assert [(one.kind, one.speed_fps, one.after) for one in string.misreads] == [("no_shot", 12, 1)]
    birch, fern = found.fields
    assert (birch.line, birch.cleared, birch.reasons) == ("Birch 285 ft/s: pass", True, ())
    assert (birch.held, birch.limit) == ("259.4 ft/s", "285 ft/s")
    assert (fern.line, fern.cleared, fern.limit) == ("Fern 70 m/s: turn down 35 ft/s", False, "229.7 ft/s")
    assert [reason.code for reason in fern.reasons] == ["too_fast"]
    assert fern.judgement.margin_fps == pytest.approx(70 / 0.3048 - 259.4)


def test_speeds_are_shown_in_the_park_s_own_unit(park):
    park.given(RulesAdopted(rules=Rules(version="metres", velocity=VelocityRules(unit="mps"))))
    shoot(park, 258, 257, 259.4)
    (fern,) = asked(park, "fern").fields
    assert (fern.held, fern.limit, fern.line) == ("79.1 m/s", "70 m/s", "Fern 70 m/s: turn down 10.6 m/s")
    assert asked(park).unit == "mps"


def test_what_voided_the_strings_before_is_told(park):
    shoot(park, 258, 257, 259.4)
    park.at(20).when(ChangeSetUp(marker="m1", change="barrel"))
    found = asked(park.at(21))
    assert (found.strings, found.voided_by, found.voided_at) == ((), "barrel", park.events[-1].occurred_at)
    assert {reason.code for one in found.fields for reason in one.reasons} == {"test_voided"}
    shoot(park.at(22), 258, 257, 259.4)
    park.at(23).when(SpotCheckMarker(check="s1", marker="m1", field="birch", speed_fps=290))
    assert asked(park).voided_by == "spot_check"


def test_a_string_that_was_too_fast_is_the_one_that_is_told(park):
    shoot(park, 286, 281, 280)
    shoot(park.at(11), 270, 271, 272)
    (birch,) = asked(park, "birch").fields
    assert (len(asked(park).strings), birch.held, birch.cleared) == (2, "286 ft/s", False)


def test_a_chronograph_found_wrong_speaks_against_it(park):
    shoot(park, 270, 271, 272)
    park.at(60).when(CheckChrono(chrono="c1", good=False))
    (birch,) = asked(park, "birch").fields
    assert birch.line == "Birch 285 ft/s: pass"
    assert [reason.code for reason in birch.reasons] == ["chrono_untrusted"]


@pytest.mark.parametrize(("kind", "subject"), [("marker", "m1"), ("chrono", "c1")])
def test_what_cannot_be_read_clears_nothing(park, kind, subject):
    shoot(park, 270, 271, 272)
    assert asked(park, "birch").fields[0].cleared
    newer = Unknown(type="velocity.of_a_later_release", version=1, why="unknown type or version", raw=b"{}")
    last = park.events[-1]
    park.record(replace(last, position=last.position + 1, tags=(f"{kind}:{subject}",), data=newer))
    (birch,) = asked(park, "birch").fields
    assert [reason.code for reason in birch.reasons] == ["record_not_understood"]


def test_a_marker_or_a_field_that_nobody_knows_is_named(park):
    with pytest.raises(UnknownSubject, match="marker m2"):
        asked(park, name="m2")
    with pytest.raises(UnknownSubject, match="field oak"):
        asked(park, "oak")
