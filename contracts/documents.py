"""The contracts as a stranger reads them from a running park: the documents, the page that shows them, and what each problem type means."""

from collections.abc import Mapping
from typing import Annotated, Final

from msgspec import Meta, Struct

from contracts.problems import Broken, InvalidParameter, NotFound, Refused, every
from contracts.read import Read

DOCS_PAGE: Final[Mapping[str, str]] = {
    "bus.js": "text/javascript",
    "docs.css": "text/css",
    "docs.js": "text/javascript",
    "dom.js": "text/javascript",
    "http.js": "text/javascript",
    "icon.svg": "image/svg+xml",
    "schema.js": "text/javascript",
}
"""The files beside the page itself, and what they are."""
_SCHEMA: Final = {"$schema": "https://json-schema.org/draft/2020-12/schema", "$defs": {}}
_VERSIONS: Final = {
    "openapi.json": {"openapi": "3.1.0", "paths": {}},
    "asyncapi.json": {"asyncapi": "3.0.0", "channels": {}},
}
DOCUMENTS: Final = ("openapi.json", "asyncapi.json", "event.json", "rules.json", "receipt.json", "problem.json")
ProblemName = Annotated[
    str,
    Meta(
        pattern=r"^[a-z]+(-[a-z]+)*$(?!\n)",
        examples=["not-cleared"],
        description="The last part of a problem's `type`.",
    ),
]
SchemaName = Annotated[
    str,
    Meta(
        pattern=r"^[a-z_]+\.[a-z_-]+(\.v[0-9]{1,4})?\.json$(?!\n)",
        examples=["velocity.marker_tested.v3.json"],
        description="`<service>.<event>.v<version>.json`, or `<service>.<command>.json`.",
    ),
]


class ProblemType(Struct, frozen=True, kw_only=True):
    """One way in which a request can be refused. `type` is stable, and the path of this very answer."""

    type: str
    status: int
    title: str
    remedy: str
    """What to do about it."""
    sample: str
    """A `detail` as it may be read."""


class ProblemTypes(Struct, frozen=True, kw_only=True):
    problems: tuple[ProblemType, ...]


def described(kind: type[Refused]) -> ProblemType:
    """A problem type in words."""
    return ProblemType(
        type=kind.type_uri(), status=kind.status, title=kind.title, remedy=kind.remedy, sample=kind.sample
    )


def all_described() -> ProblemTypes:
    """Every problem type, by its name."""
    return ProblemTypes(problems=tuple(sorted(map(described, every()), key=lambda one: one.type)))


def _file(path: str, media: str, summary: str) -> Read:
    return Read(path=path, summary=summary, roles=None, media=media, problems=(Broken,))


def _document(name: str) -> Read:
    shown = _VERSIONS.get(name, _SCHEMA)
    return Read(
        path=f"/docs/{name}", summary="A document of the contracts.", roles=None, example=shown, problems=(Broken,)
    )


DOCUMENT_READS: Final[tuple[Read, ...]] = (
    Read(
        path="/problems",
        summary="Every problem type: what it means, and what to do.",
        roles=None,
        answer=ProblemTypes,
        problems=(Broken,),
    ),
    Read(
        path="/problems/{problem}",
        summary="What a problem's `type` means, and what to do. `type` is this very path.",
        roles=None,
        answer=ProblemType,
        problems=(InvalidParameter, NotFound, Broken),
    ),
    _file("/docs", "text/html", "The page that shows these documents. It asks for nothing from anywhere else."),
    *(_file(f"/docs/{name}", media, "A part of that page.") for name, media in DOCS_PAGE.items()),
    *map(_document, DOCUMENTS),
    *(
        Read(
            path=f"/docs/{folder}/{{schema}}",
            summary=f"The JSON Schema of one {folder.removesuffix('s')}.",
            roles=None,
            example=_SCHEMA,
            problems=(InvalidParameter, NotFound, Broken),
        )
        for folder in ("events", "commands")
    ),
)
