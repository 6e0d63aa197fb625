"""The contracts' documents, the page that shows them, and what each problem type means: for anybody, and without a word from anywhere else."""

from pathlib import Path
from typing import Final

from litestar import Response, get
from litestar.handlers import HTTPRouteHandler
from litestar.params import FromPath

import contracts
from contracts.documents import DOCS_PAGE, DOCUMENTS, ProblemName, ProblemType, ProblemTypes, SchemaName, all_described
from contracts.problems import NotFound
from services.core.pages import GUARDED
from services.core.reads import fits

_PAGE: Final = Path(__file__).with_name("docs_page")
_SCHEMAS: Final = Path(contracts.__file__).with_name("schemas")
_FOLDERS: Final = ("events", "commands")
_KNOWN: Final = {
    f"{folder}/{file.name}": file.read_bytes() for folder in _FOLDERS for file in (_SCHEMAS / folder).glob("*.json")
}


def _file_route(path: str, file: Path, media: str) -> HTTPRouteHandler:
    content = file.read_bytes()

    @get(path, opt={"public": True}, name=f"docs {file.name}")
    async def route() -> Response[bytes]:
        return Response(content, media_type=media, headers=GUARDED)

    return route


def _schema_route(folder: str) -> HTTPRouteHandler:
    @get(f"/docs/{folder}/{{schema:str}}", opt={"public": True}, name=f"docs {folder}")
    async def route(schema: FromPath[str]) -> Response[bytes]:
        known = _KNOWN.get(f"{folder}/{fits(schema, SchemaName, 'schema')}")
        if known is None:
            raise NotFound(f"There is no schema of that name. /docs lists the {folder}.")
        return Response(known, media_type="application/json", headers=GUARDED)

    return route


@get("/problems", opt={"public": True})
async def problem_types() -> ProblemTypes:
    """Every problem type: what it means, and what to do."""
    return all_described()


@get("/problems/{problem:str}", opt={"public": True})
async def problem_type(problem: FromPath[str]) -> ProblemType:
    """What a problem's `type` means, and what to do."""
    asked = f"/problems/{fits(problem, ProblemName, 'problem')}"
    known = next((one for one in all_described().problems if one.type == asked), None)
    if known is None:
        raise NotFound("There is no such problem type. GET /problems lists them all.")
    return known


DOCUMENT_ROUTES: Final = (
    problem_types,
    problem_type,
    _file_route("/docs", _PAGE / "docs.html", "text/html"),
    *(_file_route(f"/docs/{name}", _PAGE / name, media) for name, media in DOCS_PAGE.items()),
    *(_file_route(f"/docs/{name}", _SCHEMAS / name, "application/json") for name in DOCUMENTS),
    *map(_schema_route, _FOLDERS),
)
