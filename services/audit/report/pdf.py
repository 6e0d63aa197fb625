"""The report in print: PDF/A-2b, set by typst with its own fonts only, so that every machine gives the same pages."""

from pathlib import Path

import msgspec
import typst

from services.audit.report.content import Report

TEMPLATE = Path(__file__).with_name("report.typ")


def pdf(report: Report) -> bytes:
    """The report as PDF/A-2b."""
    return bytes(_set(report, "pdf")[0])


def pictures(report: Report, dots_per_inch: float = 70) -> list[bytes]:
    """Its pages as PNG, to be looked at."""
    return _set(report, "png", dots_per_inch)


def _set(report: Report, form: str, dots_per_inch: float | None = None) -> list[bytes]:
    compiler = typst.Compiler(
        TEMPLATE, ignore_system_fonts=True, sys_inputs={"report": msgspec.json.encode(report).decode()}
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
