"""Units: speeds, masses and energies by exact factors.

The foot is 0.3048 m, the pound 0.45359237 kg (international agreement of 1959), standard gravity 9.80665 m/s² (CGPM 1901): all exact.
"""

import math

FOOT_M = 0.3048
INCH_M = FOOT_M / 12
FOOT_POUND_J = FOOT_M * 0.45359237 * 9.80665


def fps_from_mps(speed_mps: float) -> float:
    """A speed in ft/s, from m/s."""
    return speed_mps / FOOT_M


def mps_from_fps(speed_fps: float) -> float:
    """A speed in m/s, from ft/s."""
    return speed_fps * FOOT_M


def joules(speed_fps: float, ball_g: float) -> float:
    """The kinetic energy ½mv² in joules of a ball of a mass in grams at a speed in ft/s."""
    return ball_g / 2000 * mps_from_fps(speed_fps) ** 2


def fps_from_joules(energy_j: float, ball_g: float) -> float:
    """The speed in ft/s at which a ball of a mass in grams has an energy in joules, 0 or more. ValueError if the mass is not positive."""
    if ball_g <= 0:
        raise ValueError("A ball's mass must be above 0 g: weigh ten balls of this paint and enter a tenth.")
    return fps_from_mps(math.sqrt(energy_j * 2000 / ball_g))


def foot_pounds(energy_j: float) -> float:
    """An energy in ft·lbf, from joules."""
    return energy_j / FOOT_POUND_J


def energy_per_area(energy_j: float, calibre_in: float) -> float:
    """An energy in J over the ball's cross-section in m², its calibre in inches: the measure by which injuries to the eye are compared.

    Common balls at common limits are above the level at which half of eyes rupture: eye protection is never waived.
    """
    return energy_j / (math.pi / 4 * (calibre_in * INCH_M) ** 2)
