"""Erlang's formula for a line before several servers (M/M/c): the mathematics, no trade.

People come at random at a steady rate, each is served for a random time (exponential), the first in line by the first server that is
free, and nobody goes away. Rates are per minute, times in minutes. Source: A. K. Erlang (1917), as any textbook of queues has it.
"""

from math import exp, inf


def waiting_chance(servers: int, load: float) -> float:
    """The chance that who comes must wait (Erlang C), by the recurrence of Erlang B.

    `load` is arrivals by mean service time, in erlangs. Without limit growing lines (load at or over the servers) everybody waits: 1.
    Raises ValueError for fewer than one server or a load below zero.
    """
    if servers < 1 or load < 0:
        raise ValueError(
            f"{servers} servers under a load of {load} erlangs: name at least one server and no load below 0."
        )
    if load >= servers:
        return 1.0
    blocked = 1.0
    for number in range(1, servers + 1):
        blocked = load * blocked / (number + load * blocked)
    utilisation = load / servers
    return blocked / (1 - utilisation * (1 - blocked))


def mean_wait(arrivals: float, services: float, servers: int) -> float:
    """Minutes that one waits in line on average, C/(c mu - lambda); infinite where more come than are served: the line grows without bound."""
    spare = servers * services - arrivals
    return waiting_chance(servers, arrivals / services) / spare if spare > 0 else inf


def mean_line(arrivals: float, services: float, servers: int) -> float:
    """How many wait in line on average: Little's law (1961), L = lambda W."""
    wait = mean_wait(arrivals, services, servers)
    return arrivals * wait if arrivals else 0.0


def served_within(arrivals: float, services: float, servers: int, minutes: float) -> float:
    """The share of all who come that wait no longer than so many minutes."""
    spare = servers * services - arrivals
    return 1 - waiting_chance(servers, arrivals / services) * exp(-spare * minutes) if spare > 0 else 0.0
