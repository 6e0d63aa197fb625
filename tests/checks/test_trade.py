"""What the trade's standards and custom ask for, against what the product does by default.

Standards were seen as the public first pages of their texts; where only a secondary text was read, or memory is the source, it says so.
"""

import msgspec
import pytest

from contracts.games import ConfigureField
from contracts.registration import RegisterPerson, RegisterPlayer
from contracts.rules import DEFAULT
from tests.unit.strings import said
from tests.unit.test_clearance import codes, park, ready_player

__all__ = ["park"]


def test_every_player_is_briefed_before_the_first_game_of_the_day(park):
    """ASTM F1777-97 §3.2 (site operation): a formal briefing for every player before the first game of the day; F2801 complements it."""
    assert codes(park, ready_player(park, 7)) == []
    park.when(RegisterPerson(person="h8", age_band=18))
    park.when(RegisterPlayer(player="p8", person="h8", day_pass="pass8", armband=8))  # noqa: S106
    assert "briefing_missing" in codes(park, "p8")


def test_no_field_may_be_configured_over_300_feet_a_second():
    """300 ft/s, about 91.44 m/s, as the greatest muzzle velocity: many secondary texts on ASTM F1777; its clause from memory, not read."""
    fields = {"field": "birch", "title": "Birch"}
    assert msgspec.convert(fields | {"limit_fps": 300.0}, ConfigureField).limit_fps == 300.0
    with pytest.raises(msgspec.ValidationError, match="limit_fps"):
        msgspec.convert(fields | {"limit_fps": 300.1}, ConfigureField)
    assert (
        pytest.approx(91.44) == 300 * 0.3048
    )  # the foot is 0.3048 m exactly (international yard and pound agreement, 1959)


def test_a_recreational_limit_of_285_is_passed_only_by_readings_strictly_under_it():
    """Common practice, no source: 285 ft/s for adult recreational play, every reading strictly under it, three readings at least."""
    assert ConfigureField(field="birch", title="Birch").limit_fps == 285.0
    rules = DEFAULT.velocity
    assert said((284.9, 284.9, 284.9), 285, rules) == "pass"
    assert said((284.9, 285.0, 284.9), 285, rules) == "turn_down"
    assert said((284.9, 284.9), 285, rules) == "inconclusive"


def test_the_first_offence_sits_out_a_game_and_the_second_of_the_day_ejects():
    """Common practice, no source; physical contact ejects at once, accidental contact is no offence."""
    rules = DEFAULT.discipline
    weights = {violation.code: violation.weight for violation in rules.catalogue}
    assert rules.cautions_to_eject == 2
    assert weights["physical-contact"] == rules.cautions_to_eject
    assert weights["overshooting"] == 1  # more than three hits on one player
    assert weights["asking-for-help"] == weights["accidental-contact"] == 0


def test_games_of_fifteen_to_twenty_minutes_serve_a_sit_out():
    """Common practice, no source: games last 15 to 20 minutes."""
    assert 0 < DEFAULT.games.full_minutes <= 15


def test_no_rule_can_waive_eye_protection():
    """Energy per area of a .68 ball of 3.2 g at 300 ft/s is 56,913 J/m², over twice the 23,771 J/m² at which half of eyes rupture.

    Duma et al. 2005, J Trauma, doi 10.1097/01.ta.0000174830.55282.32 for the risk; the energy is computed here.
    """
    energy = 0.5 * 0.0032 * (300 * 0.3048) ** 2
    area = 3.141592653589793 * (0.68 * 0.0254 / 2) ** 2
    assert energy / area == pytest.approx(56_913, rel=0.005)
    assert energy / area > 2 * 23_771
    _, parts = msgspec.json.schema_components([type(DEFAULT)])
    names = [name for part in parts.values() for name in part["properties"]]
    assert "comparison" in names
    assert not [name for name in names if any(word in name for word in ("mask", "goggle", "eye", "lens"))]
