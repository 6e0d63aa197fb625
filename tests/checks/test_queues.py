"""Lines at the stations against the world outside: Erlang's formula as textbooks print it, and lines played out one by one.

2 erlangs on 3 servers: 4/9, and 1 erlang on 2: 1/3 are the worked values of textbooks of queues (read in secondary text). The table was computed
with an independent recurrence; so were the values of the published call centre (its inputs, 360 calls in 30 minutes, 240 s a call,
55 agents, 15 s, are those of a worked example on the web, read in secondary text).
"""

from fractions import Fraction
from heapq import heapify, heapreplace
from math import factorial, inf
from random import Random

import pytest

from services.board.waits.erlang import mean_line, mean_wait, served_within, waiting_chance

TABLE = {
    2: {0.5: 0.333333, 0.7: 0.576471, 0.8: 0.711111, 0.9: 0.852632},
    3: {0.5: 0.236842, 0.7: 0.492344, 0.8: 0.647191, 0.9: 0.817061},
    4: {0.5: 0.173913, 0.7: 0.428654, 0.8: 0.596432, 0.9: 0.787753},
    5: {0.5: 0.130371, 0.7: 0.377838, 0.8: 0.554113, 0.9: 0.762493},
}
"""The chance to wait, by servers and utilisation: computed with an independent recurrence, to six places."""


def by_definition(servers: int, load: Fraction) -> Fraction:
    """Erlang C as textbooks write it: a quotient of sums of powers over factorials, in exact fractions."""
    all_busy = load**servers / factorial(servers) * Fraction(servers) / (servers - load)
    return all_busy / (sum(load**n / factorial(n) for n in range(servers)) + all_busy)


def played(arrivals: float, services: float, servers: int, people: int, seed: int) -> tuple[float, float]:
    """The share that waited and the mean wait of so many people who came one by one."""
    random, now, free = Random(seed), 0.0, [0.0] * servers  # noqa: S311 - a sample, not a secret
    heapify(free)
    waited, total = 0, 0.0
    for _ in range(people):
        now += random.expovariate(arrivals)
        begins = max(now, free[0])
        waited, total = waited + (begins > now), total + begins - now
        heapreplace(free, begins + random.expovariate(services))
    return waited / people, total / people


@pytest.mark.parametrize(("servers", "load", "chance"), [(3, 2, 4 / 9), (2, 1, 1 / 3)])
def test_the_textbooks_worked_values_come_out(servers, load, chance):
    assert waiting_chance(servers, load) == pytest.approx(chance, abs=1e-12)


@pytest.mark.parametrize("servers", TABLE)
@pytest.mark.parametrize("utilisation", [0.5, 0.7, 0.8, 0.9])
def test_the_table_of_chances_to_wait_comes_out_to_six_places(servers, utilisation):
    assert waiting_chance(servers, servers * utilisation) == pytest.approx(TABLE[servers][utilisation], abs=5e-7)


@pytest.mark.parametrize("servers", [1, 2, 3, 5, 12, 55])
@pytest.mark.parametrize("share", ["1/100", "1/2", "4/5", "99/100"])
def test_the_recurrence_is_the_textbooks_quotient_of_sums(servers, share):
    load = servers * Fraction(share)
    assert waiting_chance(servers, float(load)) == pytest.approx(float(by_definition(servers, load)), rel=1e-12)


def test_one_server_makes_wait_as_often_as_it_is_busy():
    """The M/M/1 line of every textbook: C = rho, Wq = rho/(mu - lambda)."""
    assert waiting_chance(1, 0.75) == pytest.approx(0.75)
    assert mean_wait(0.75, 1.0, 1) == pytest.approx(3.0)


def test_three_servers_of_two_minutes_under_one_point_two_a_minute():
    """Computed with an independent recurrence: C .647191, Lq 2.58876, Wq 2.15730."""
    assert waiting_chance(3, 1.2 / 0.5) == pytest.approx(0.647191, abs=5e-7)
    assert mean_wait(1.2, 0.5, 3) == pytest.approx(2.15730, abs=5e-6)
    assert mean_line(1.2, 0.5, 3) == pytest.approx(2.58876, abs=5e-6)


def test_the_published_call_centre_of_fifty_five_agents():
    """Computed with an independent recurrence from the published inputs: C .238701, 8.184 s on average, 84.588 % within 15 s."""
    arrivals, services = 360 / 30, 60 / 240
    assert waiting_chance(55, arrivals / services) == pytest.approx(0.238701, abs=5e-7)
    assert 60 * mean_wait(arrivals, services, 55) == pytest.approx(8.184, abs=5e-4)
    assert served_within(arrivals, services, 55, 15 / 60) == pytest.approx(0.84588, abs=5e-6)


def test_where_as_many_come_as_are_served_the_line_grows_without_bound():
    for arrivals in (1.0, 1.2):
        assert waiting_chance(2, arrivals / 0.5) == 1.0
        assert mean_wait(arrivals, 0.5, 2) == inf
        assert mean_line(arrivals, 0.5, 2) == inf
        assert served_within(arrivals, 0.5, 2, 60) == 0.0


def test_nobody_waits_where_nobody_comes():
    assert (waiting_chance(2, 0.0), mean_wait(0.0, 0.5, 2), mean_line(0.0, 0.5, 2)) == (0.0, 0.0, 0.0)


@pytest.mark.parametrize(("servers", "load"), [(0, 0.5), (2, -0.1)])
def test_no_server_and_no_load_below_zero_can_be_asked_about(servers, load):
    with pytest.raises(ValueError, match="name at least one server"):
        waiting_chance(servers, load)


def test_lines_played_out_one_by_one_wait_as_the_formula_says():
    """200,000 people who come and are served at random: within 3 % of the chance and 6 % of the mean wait."""
    chance, wait = played(1.2, 0.5, 3, 200_000, seed=5)
    assert chance == pytest.approx(waiting_chance(3, 2.4), rel=0.03)
    assert wait == pytest.approx(mean_wait(1.2, 0.5, 3), rel=0.06)
