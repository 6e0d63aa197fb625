"""The files of the audit's page. They hold no data: what it shows is asked for with a manager's or an auditor's key."""

from typing import Final

from contracts.problems import Broken, NotFound
from contracts.read import Read

AUDIT_PAGE: Final[dict[str, str]] = {
    "audit.css": "text/css",
    "ask.js": "text/javascript",
    "audit.js": "text/javascript",
    "find.js": "text/javascript",
    "moment.js": "text/javascript",
    "timeline.js": "text/javascript",
    "whatif.js": "text/javascript",
}
"""The files beside the page itself, and what they are."""
AUDIT_PAGE_READS: tuple[Read, ...] = (
    Read(
        path="/parks/{park}/audit",
        summary="The page for questions about the past. It asks for a manager's or an auditor's key.",
        roles=None,
        media="text/html",
        problems=(NotFound, Broken),
    ),
    *(
        Read(
            path=f"/parks/{{park}}/audit/{name}",
            summary="A part of the audit's page.",
            roles=None,
            media=media,
            problems=(NotFound, Broken),
        )
        for name, media in AUDIT_PAGE.items()
    ),
)
