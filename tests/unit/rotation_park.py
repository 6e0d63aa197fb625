"""Parks for the rotation drawn by hypothesis, and what every plan must hold to, told anew and slowly."""

from itertools import combinations, pairwise
from math import ceil, inf

from hypothesis import strategies as st

from contracts.rules import RotationRules
from services.games.rotation.model import Ground, Party, Session

CLOSE = 1e-4
RULES = RotationRules(
    horizon_minutes=120,
    break_minutes=7,
    rest_minutes=10,
    fewest_players=4,
    patience_minutes=5,
    steady_minutes=20,
    firm_minutes=0,
)


@st.composite
def parks(draw, *, sessions=True):
    """Up to four fields and a dozen parties, some of which fit some fields only, are not ready, or have a field to themselves for a while."""
    names = [f"f{number}" for number in range(draw(st.integers(1, 4)))]
    parties = [draw(_party(f"group:g{number}", names)) for number in range(draw(st.integers(0, 12)))]
    grounds = [draw(_ground(name, parties if sessions else [])) for name in names]
    return grounds, parties


@st.composite
def _party(draw, name, fields):
    size = draw(st.integers(1, 9))
    fit = draw(st.sets(st.sampled_from(fields), min_size=1))
    players = dict.fromkeys(fit, size) | {
        field: draw(st.integers(1, size)) for field in draw(st.sets(st.sampled_from(sorted(fit))))
    }
    ready = draw(st.sampled_from([0.0, 0.0, 0.0, 5.0, 12.5, 40.0, inf]))
    waited = draw(st.integers(0, 180)) / 2 if ready == 0 else 0.0
    return Party(name, players, ready, waited, draw(st.integers(0, 5)))


@st.composite
def _ground(draw, name, parties):
    private = ()
    if parties and draw(st.integers(0, 4)) == 0:
        start = draw(st.integers(0, 120)) / 2
        private = (Session(draw(st.sampled_from([one.name for one in parties])), start, start + 50),)
    free = draw(st.one_of(st.none(), st.integers(0, 60).map(lambda half: half / 2)))
    return Ground(name, draw(st.integers(2, 14)), free, draw(st.sampled_from([10.0, 15.0, 20.0])), private)


def sizes(grounds, party):
    """How many of a party play: as many as on the open field that takes most of it."""
    return max((party.players.get(one.field, 0) for one in grounds if one.free_at is not None), default=0)


def two_teams(numbers, spread):
    """Whether such parties make two teams that differ by one at most; those in `spread` may be on both."""
    whole, loose = list(numbers), sum(spread)
    total = sum(whole)
    return any(
        abs(2 * sum(chosen) - total) <= loose + 1
        for count in range(len(whole) + 1)
        for chosen in combinations(whole, count)
    )


def every_turn(plan, *, private=None):
    """The games of each part of each party, in order."""
    found = {}
    for slot in plan.slots:
        for seat in slot.seats:
            if private is None or slot.private is private:
                found.setdefault((seat.party, seat.part), []).append(slot)
    return {name: sorted(slots, key=lambda one: one.start) for name, slots in found.items()}


def check_fields(grounds, plan, rules):
    """Games on open fields only, within the horizon and the places, a break between them, nobody but its party in a session."""
    known = {ground.field: ground for ground in grounds}
    for field, ground in known.items():
        mine = sorted((one for one in plan.slots if one.field == field), key=lambda one: one.start)
        assert not (mine and ground.free_at is None)
        for slot in mine:
            assert max(0, ground.free_at) <= slot.start < rules.horizon_minutes
            assert slot.players <= ground.places
            check_session(ground, slot, rules)
        for slot, after in pairwise(mine):
            assert after.start >= slot.start + slot.minutes + rules.break_minutes - CLOSE


def check_session(ground, slot, rules):
    during = [one for one in ground.private if one.start - CLOSE <= slot.start < one.end - CLOSE]
    assert slot.private is bool(during)
    if during:
        assert {seat.party for seat in slot.seats} == {during[0].party}
        assert slot.start + slot.minutes <= during[0].end + CLOSE
        return
    assert slot.players >= rules.fewest_players
    after = min((one.start for one in ground.private if one.start > slot.start), default=inf)
    assert slot.start + slot.minutes + rules.break_minutes <= after + CLOSE


def check_parties(grounds, parties, plan, rules):
    """Nobody before he is ready, in two games at once or without his rest; everybody in a game or told why not."""
    known = {party.name: party for party in parties}
    for (name, _), slots in every_turn(plan).items():
        assert slots[0].start >= known[name].ready_at - CLOSE
        for slot, after in pairwise(slots):
            rest = rules.break_minutes if slot.private and after.private else rules.rest_minutes
            assert after.start >= slot.start + slot.minutes + min(rest, rules.rest_minutes) - CLOSE
    placed = {seat.party for slot in plan.slots for seat in slot.seats}
    assert placed | set(plan.waiting) == set(known)
    assert not placed & set(plan.waiting)
    for ground in grounds:
        for session in ground.private:
            for slot in every_turn(plan).get((session.party, 0), []):
                apart = slot.start + slot.minutes <= session.start + CLOSE or slot.start >= session.end - CLOSE
                assert apart or slot.field == ground.field or _two_sessions(grounds, session)


def _two_sessions(grounds, session):
    return sum(one.party == session.party for ground in grounds for one in ground.private) > 1


def check_whole(grounds, parties, plan):
    """A group is in a game whole, unless no field that takes all of its players has places for them; and every game makes two teams."""
    known, places = {party.name: party for party in parties}, {ground.field: ground.places for ground in grounds}
    for slot in plan.slots:
        for seat in slot.seats if not slot.private else ():
            party = known[seat.party]
            size = sizes(grounds, party)
            takes = [places[field] for field, count in party.players.items() if count == size]
            assert party.players[slot.field] == size
            assert (seat.part == 0) == (max(takes) >= size)
            assert seat.players == size if seat.part == 0 else seat.players <= ceil(size / 2)
    for party, count in plan.parts.items():
        assert count == ceil(sizes(grounds, known[party]) / max(_takes(grounds, known[party])))


def _takes(grounds, party):
    size = sizes(grounds, party)
    return [one.places for one in grounds if party.players.get(one.field) == size]


def check_teams(grounds, parties, plan):
    """Every game that is open to all can be two teams with the groups whole, but for one that no field has on one team, or that outnumbers all others there."""
    known = {party.name: party for party in parties}
    for slot in plan.slots:
        if slot.private or slot.fixed:
            continue
        largest = max(seat.players for seat in slot.seats)
        spread, whole = [], []
        for seat in slot.seats:
            no_team = all(ceil(one / 2) < seat.players for one in _takes(grounds, known[seat.party]))
            outnumbers = seat.players == largest and seat.players > slot.players - seat.players + 1
            (spread if no_team or outnumbers else whole).append(seat.players)
        assert two_teams(whole, spread)


def could_play(grounds, parties, plan, slot, rules):
    """Everybody in it or left out who could have been in this game: fit, ready, rested, back before his own session."""
    turns = every_turn(plan)
    ground = next(one for one in grounds if one.field == slot.field)
    for party in parties:
        size = sizes(grounds, party)
        if plan.parts.get(party.name) or not size or party.players.get(slot.field) != size or size > ground.places:
            continue
        others = [one for one in turns.get((party.name, 0), []) if one is not slot]
        rested = all(
            one.start + one.minutes + rules.rest_minutes <= slot.start + CLOSE
            for one in others
            if one.start < slot.start
        )
        if party.ready_at <= slot.start + CLOSE and rested:
            yield party.name
