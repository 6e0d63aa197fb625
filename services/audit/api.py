"""The audit's questions over HTTP. None of them writes."""

from services.audit.asking import ROUTES
from services.audit.cases import case
from services.audit.pages import FILES
from services.audit.sightings import players
from services.audit.stories import story
from services.core.service import Service

SERVICE = Service("audit", routes=(*FILES, story, players, case, *ROUTES))
