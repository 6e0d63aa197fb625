"""The audit's page and its files."""

from pathlib import Path
from typing import Final

from contracts.audit_page import AUDIT_PAGE
from services.core.pages import file_route

FOLDER: Final = Path(__file__).with_name("page")
FILES: Final = (
    file_route("/parks/{park:str}/audit", FOLDER / "audit.html", "text/html"),
    *(file_route(f"/parks/{{park:str}}/audit/{name}", FOLDER / name, media) for name, media in AUDIT_PAGE.items()),
)
