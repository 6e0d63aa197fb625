"""Short ways to say what happened to an invented hired marker."""

from contracts.envelope import Basis
from contracts.equipment import GearIssued, GearQuarantined, GearReturned, MarkerRegistered
from contracts.velocity import MarkerSpotChecked, MarkerTested, SetUpChanged
from tests.unit.scenario import NINE

BASIS = Basis(now=NINE, rules="default", position=1)


def registered(marker="m1", owner=None):
    return MarkerRegistered(marker=marker, owner=owner, model="Heron", calibre=".68", firing_mode="semi", gas="air")


def string(*readings, marker="m1", chrono="bench-1", low=False):
    return MarkerTested(
        test=f"t-{marker}", marker=marker, chrono=chrono, readings_fps=readings, misreads=(), low_pressure=low,
        sealed=True, temperature_c=None, ball_g=None, rate_bps=None,
    )  # fmt: skip


def spot(speed, finding="under", marker="m1"):
    return MarkerSpotChecked(
        check="c1", marker=marker, field="birch", game=None, player=None, speed_fps=speed, bench_limit_fps=285,
        stop_limit_fps=300, finding=finding,
    )  # fmt: skip


def issued(player, marker="m1"):
    return GearIssued(basis=BASIS, player=player, marker=marker, mask=None, bottle=None)


def returned(player, marker="m1"):
    return GearReturned(player=player, marker=marker, mask=None, bottle=None)


def changed(change):
    return SetUpChanged(marker="m1", change=change, firing_mode=None)


def quarantined(fault):
    return GearQuarantined(marker="m1", mask=None, bottle=None, fault=fault)
