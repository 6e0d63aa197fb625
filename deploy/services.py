"""What runs: the services of this house, and the projections that its screens read from."""

from typing import Any

from services.core.folds import Folds
from services.core.projection import Projection
from services.core.service import Service
from services.duty import api as duty
from services.equipment import api as equipment
from services.velocity import api as velocity
from services.velocity.states import BENCH, CHRONO, LIMITS, WEATHER

SERVICES: tuple[Service, ...] = (equipment.SERVICE, velocity.SERVICE, duty.SERVICE)
PROJECTIONS: tuple[Projection[Any], ...] = (Folds("velocity", (BENCH, CHRONO, LIMITS, WEATHER)),)
