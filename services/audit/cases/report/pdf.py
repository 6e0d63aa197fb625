"""The report in print: PDF/A-2b, set by typst with its own fonts only, so that every machine gives the same pages."""

import re
from pathlib import Path
from typing import Any, Final

import msgspec
import typst

from services.audit.cases.report.content import Report

TEMPLATE = Path(__file__).with_name("report.typ")
_LACKING: Final = tuple(re.compile(one) for one in (r"(?!)", r"[^\n -\u04ff\u2010-\u2044\u20a0-\u20bf]", r"[^\n -~]"))
"""What is taken for characters without a glyph: first none, then all outside Latin, Greek and Cyrillic, then all but ASCII."""


def pdf(report: Report) -> bytes:
    """The report as PDF/A-2b."""
    return bytes(_set(report, "pdf")[0])


def pictures(report: Report, dots_per_inch: float = 70) -> list[bytes]:
    """Its pages as PNG, to be looked at."""
    return _set(report, "png", dots_per_inch)


def _set(report: Report, form: str, dots_per_inch: float | None = None) -> list[bytes]:
    """PDF/A allows no character without a glyph, and the rules' texts may hold any: those are spelled out as [U+1F600]."""
    plain = msgspec.to_builtins(report)
    for lacking in _LACKING[:-1]:
        try:
            return _compiled(_spelled(plain, lacking), report, form, dots_per_inch)
        except typst.TypstError:
            continue
    return _compiled(_spelled(plain, _LACKING[-1]), report, form, dots_per_inch)


def _spelled(value: Any, lacking: re.Pattern[str]) -> Any:
    match value:
        case str():
            return lacking.sub(lambda found: f"[U+{ord(found[0]):04X}]", value)
        case dict():
            return {key: _spelled(one, lacking) for key, one in value.items()}
        case list() | tuple():
            return [_spelled(one, lacking) for one in value]
        case _:
            return value


def _compiled(plain: Any, report: Report, form: str, dots_per_inch: float | None) -> list[bytes]:
    compiler = typst.Compiler(
        TEMPLATE, ignore_system_fonts=True, sys_inputs={"report": msgspec.json.encode(plain).decode()}
    )
    made = compiler.compile(
        format=form,  # type: ignore[arg-type]
        ppi=dots_per_inch,
        pdf_standards=["a-2b"] if form == "pdf" else [],
        timestamp=report.stamp,
    )
    if made is None:
        raise RuntimeError("typst gave no document")
    return [bytes(made)] if isinstance(made, bytes) else [bytes(page) for page in made]
