"""What runs: the services of this house, and the projections that its screens read from."""

from typing import Any

from services.audit import api as audit
from services.board import api as board
from services.board.notes import NOTES
from services.clearance import api as clearance
from services.core.projection import Projection
from services.core.service import Service
from services.devices import api as devices
from services.discipline import api as discipline
from services.duty import api as duty
from services.equipment import api as equipment
from services.equipment.stock import STOCK
from services.evidence import api as evidence
from services.games import api as games
from services.incidents import api as incidents
from services.park import api as park
from services.reading import api as reading
from services.registration import api as registration
from services.vault import api as vault
from services.velocity import api as velocity
from services.velocity.hired import FLEET

SERVICES: tuple[Service, ...] = (
    park.SERVICE,
    registration.SERVICE,
    equipment.SERVICE,
    velocity.SERVICE,
    discipline.SERVICE,
    duty.SERVICE,
    incidents.SERVICE,
    clearance.SERVICE,
    games.SERVICE,
    vault.SERVICE,
    evidence.SERVICE,
    board.SERVICE,
    audit.SERVICE,
    reading.SERVICE,
    devices.SERVICE,
)
PROJECTIONS: tuple[Projection[Any], ...] = (clearance.PROJECTION, NOTES, FLEET, STOCK)
