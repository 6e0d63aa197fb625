"""Incidents: nobody plays who is unfit, until somebody entitled says he may. Common practice, no source."""

import pytest

from contracts.games import PlayerOut
from contracts.incidents import (
    DeclareFit,
    IncidentRecorded,
    NameWitness,
    PlayerFit,
    PlayerUnfit,
    RecordIncident,
    RecordInjury,
    RecordUnfit,
)
from contracts.problems import NotInThatState, UnknownSubject
from services.incidents import model
from services.incidents.states import FITNESS
from tests.unit.desk_day import clock, codes, desk, ready


@pytest.fixture
def park():
    park = desk()
    ready(park)
    ready(park, "elm")
    return park.at(10)


def found(park, player="ash"):
    return [one.sentence for one in model.reasons(park.state(FITNESS, player))]


def out(cause):
    return PlayerOut(player="ash", field="birch", game="g1", cause=cause)


@pytest.mark.parametrize("cause", ["intoxicated", "injured", "medical"])
def test_whoever_is_drunk_injured_or_unwell_does_not_play_until_he_is_declared_fit(park, cause):
    assert park.when(RecordUnfit(player="ash", cause=cause)) == (PlayerUnfit(player="ash", cause=cause),)
    assert found(park) == [f"You are not fit to play at the moment. Recorded: {cause}."]
    assert codes(park, "elm") == []
    assert park.when(DeclareFit(player="ash")) == (PlayerFit(player="ash"),)
    assert codes(park) == []


def test_every_cause_is_named_once_and_lifted_together(park):
    for cause in ("medical", "injured", "medical"):
        park.when(RecordUnfit(player="ash", cause=cause))
    assert found(park) == ["You are not fit to play at the moment. Recorded: injured, medical."]
    park.when(DeclareFit(player="ash"))
    assert found(park) == []


def test_whoever_comes_off_a_field_injured_waits_for_the_first_aider(park):
    park.given(out("injured"))
    assert codes(park) == ["unfit"]
    assert found(park) == ["You are not fit to play at the moment. Recorded: injured."]
    park.when(DeclareFit(player="ash"))
    assert codes(park) == []


def test_whoever_was_hurt_waits_for_the_first_aider_too_and_nobody_else_does(park):
    park.when(RecordInjury(incident="i1", player="ash", part="knee", injury="graze"))
    park.when(NameWitness(incident="i1", player="elm"))
    assert codes(park) == ["unfit"]
    assert codes(park, "elm") == []
    park.when(DeclareFit(player="ash"))
    assert codes(park) == []


@pytest.mark.parametrize("cause", ["eliminated", "walked_off", "sent_off"])
def test_whoever_comes_off_for_another_cause_is_fit(park, cause):
    park.given(out(cause))
    assert codes(park) == []


def test_an_injury_told_after_he_was_declared_fit_stops_him_again(park):
    """The first aider cannot have known of it, whenever it happened."""
    park.when(RecordUnfit(player="ash", cause="medical"))
    park.at(30).when(DeclareFit(player="ash"))
    park.at(40).when(RecordUnfit(player="ash", cause="injured", occurred_at=clock(20)))
    assert codes(park) == ["unfit"]


def test_only_who_is_unfit_is_declared_fit(park):
    with pytest.raises(NotInThatState, match="ash is not recorded as unfit"):
        park.when(DeclareFit(player="ash"))
    park.when(RecordUnfit(player="ash", cause="medical"))
    park.when(DeclareFit(player="ash"))
    with pytest.raises(NotInThatState, match="ash is not recorded as unfit"):
        park.when(DeclareFit(player="ash"))


def test_first_aiders_and_managers_declare_fit_and_any_member_of_staff_records_unfit():
    assert sorted(DeclareFit.ROLES) == ["first_aider", "manager"]
    assert {"referee", "staging", "desk", "gear", "chrono"} <= RecordUnfit.ROLES
    assert (RecordUnfit.FACT, RecordIncident.FACT, DeclareFit.FACT) == (True, True, False)


def test_an_incident_is_recorded_with_all_that_it_concerns(park):
    (recorded,) = park.when(
        RecordIncident(
            incident="i1",
            kind="injury",
            field="birch",
            game="g1",
            players=("ash", "elm"),
            markers=("m1",),
            masks=("k1",),
            emergency_services=True,
        )
    )
    assert recorded == IncidentRecorded(
        incident="i1",
        kind="injury",
        field="birch",
        game="g1",
        players=("ash", "elm"),
        markers=("m1",),
        masks=("k1",),
        emergency_services=True,
    )
    assert park.events[-1].tags == (
        "incident:i1",
        "field:birch",
        "game:g1",
        "player:ash",
        "player:elm",
        "marker:m1",
        "mask:k1",
        "incidents",
    )


def test_an_incident_by_itself_makes_nobody_unfit(park):
    park.when(RecordIncident(incident="i1", kind="near_miss", players=("ash",)))
    assert codes(park) == []


@pytest.mark.parametrize(
    "command",
    [
        RecordUnfit(player="owl", cause="medical"),
        DeclareFit(player="owl"),
        RecordIncident(incident="i1", kind="injury", players=("ash", "owl")),
    ],
    ids=lambda command: type(command).__name__,
)
def test_nothing_is_recorded_of_somebody_unknown(park, command):
    with pytest.raises(UnknownSubject, match="no player owl"):
        park.when(command)
