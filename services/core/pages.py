"""A page's files, behind headers that let nothing in from anywhere else. They hold no data: what they show is asked for with a key, or is public."""

from pathlib import Path
from typing import Any, Final

from litestar import Request, Response, get
from litestar.handlers import HTTPRouteHandler
from litestar.params import FromPath

from contracts.handheld import SHARED
from services.core.routes import park_of

NO_STORE: Final = {"Cache-Control": "no-store"}
GUARDED: Final = NO_STORE | {
    "Content-Security-Policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; connect-src 'self'; img-src 'self'; "
        "base-uri 'none'; form-action 'none'; frame-ancestors 'self'"
    ),
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
}


def file_route(path: str, file: Path, media: str) -> HTTPRouteHandler:
    """The route of one file of a page; anybody may have it."""
    content = file.read_bytes()

    @get(path, opt={"public": True}, name=f"{file.parent.parent.name} {file.name}")
    async def route(request: Request[Any, Any, Any], park: FromPath[str]) -> Response[bytes]:
        park_of(request, park)
        return Response(content, media_type=media, headers=GUARDED)

    return route


SHARED_PAGES: Final = tuple(
    file_route(f"/parks/{{park:str}}/page/{name}", Path(__file__).with_name("page") / name, media)
    for name, media in SHARED.items()
)
"""What the pages of several services share."""
