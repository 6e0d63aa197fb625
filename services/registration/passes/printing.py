"""A pass on paper: its code as a picture, and a sheet of passes to cut. It has numbers on it and no name."""

from collections.abc import Iterable
from datetime import date
from html import escape
from io import BytesIO

import segno
from msgspec import Struct

ERROR_LEVEL = "Q"
"""A quarter of a code may be mud or scratches, and it is still read (ISO/IEC 18004)."""
QUIET = 4
"""Modules of white around a code, as the standard asks."""
CAUTIONS = (
    "Eye protection on, always, inside the netting.",
    "Barrel cover on outside the field.",
    "The referee on the field decides.",
)


class Printed(Struct, frozen=True, kw_only=True):
    """One pass as it is printed."""

    armband: int
    day_pass: str
    text: str


def code(text: str) -> segno.QRCode:
    """The code of a pass's text; its level of correction is never below ours."""
    return segno.make_qr(text, error=ERROR_LEVEL)


def svg(text: str) -> bytes:
    """The code as a picture by itself."""
    out = BytesIO()
    code(text).save(out, kind="svg", border=QUIET, omitsize=True)
    return out.getvalue()


def sheet(park: str, day: date, passes: Iterable[Printed], stylesheet: str) -> str:
    """A page to print and cut, in the order given."""
    cards = "".join(_card(park, day, one) for one in passes)
    return (
        '<!doctype html><html lang="en"><head><meta charset="utf-8"><title>Day passes</title>'
        f'<link rel="stylesheet" href="{escape(stylesheet)}"></head><body><main class="passes">{cards}</main></body></html>'
    )


def _card(park: str, day: date, one: Printed) -> str:
    picture = code(one.text).svg_inline(border=QUIET, omitsize=True, svgclass=None, lineclass=None)
    cautions = "".join(f"<li>{escape(caution)}</li>" for caution in CAUTIONS)
    return (
        '<article class="pass"><div class="who">'
        f'<p class="armband"><small>Armband</small>{one.armband}</p>'
        f'<p class="where">{escape(park)}<br><time datetime="{day}">{day:%A} {day.day} {day:%B %Y}</time></p>'
        f'<p class="code">{escape(one.day_pass)}</p></div>'
        f'<div class="picture" role="img" aria-label="Code of the pass for armband {one.armband}">{picture}</div>'
        f'<ul class="cautions">{cautions}</ul></article>'
    )
