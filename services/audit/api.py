"""The audit's questions over HTTP. None of them writes."""

from services.audit.asking import ROUTES
from services.audit.cases.routes import case
from services.audit.pages import FILES
from services.audit.stories.routes import story
from services.audit.stories.sightings import players
from services.core.service import Service

SERVICE = Service("audit", routes=(*FILES, story, players, case, *ROUTES))
