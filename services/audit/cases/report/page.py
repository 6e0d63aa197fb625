"""The report for a browser: one page that asks for nothing else, neither from the network nor from a disk."""

from collections.abc import Iterator
from html import escape
from pathlib import Path

from services.audit.cases.report.content import Entry, Report, Seal, Section, Table

STYLE = Path(__file__).with_name("report.css").read_text(encoding="utf-8")
_POLICY = "default-src 'none'; style-src 'unsafe-inline'"


def page(report: Report) -> bytes:
    """The report as self-contained HTML."""
    title = escape(f"{report.title} · {report.subtitle}")
    body = "\n".join(
        [
            "<main>",
            f"<h1>{escape(report.title)}</h1>",
            f'<p class="subtitle">{escape(report.subtitle)}</p>',
            *map(_paragraph, report.lead),
            *map(_section, report.sections),
            "</main>",
            _footer(report.seal),
        ]
    )
    return (
        f'<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n<title>{title}</title>\n'
        f'<meta name="viewport" content="width=device-width">\n'
        f'<meta http-equiv="Content-Security-Policy" content="{_POLICY}">\n'
        f"<style>\n{STYLE}</style>\n</head>\n<body>\n{body}\n</body>\n</html>\n"
    ).encode()


def _paragraph(sentence: str) -> str:
    return f"<p>{escape(sentence)}</p>"


def _section(section: Section) -> str:
    parts = [f"<h2>{escape(section.heading)}</h2>", *map(_paragraph, section.text)]
    if section.table is not None:
        parts.append(_table(section.table))
    if section.entries:
        parts.append('<ol class="timeline">' + "\n".join(map(_entry, section.entries)) + "</ol>")
    kind = ' class="own-page"' if section.own_page else ""
    return f"<section{kind}>\n" + "\n".join(parts) + "\n</section>"


def _table(table: Table) -> str:
    head = "".join(f"<th>{escape(name)}</th>" for name in table.columns)
    rows = "\n".join("<tr>" + "".join(_cells(row, table.code)) + "</tr>" for row in table.rows)
    return f"<table><thead><tr>{head}</tr></thead><tbody>\n{rows}\n</tbody></table>"


def _cells(row: tuple[str, ...], code: int) -> Iterator[str]:
    for at, cell in enumerate(row):
        yield f"<td><pre>{escape(cell)}</pre></td>" if at == code else f"<td>{escape(cell)}</td>"


def _entry(entry: Entry) -> str:
    notes = "".join(
        f'<span class="note"><span class="word">{escape(word)}</span> {escape(said)}</span>'
        for word, said in entry.notes
    )
    return (
        f'<li><div><time>{escape(entry.time)}</time><br><span class="quiet">position {entry.position}</span></div>'
        f'<div>{escape(entry.sentence)}{notes}<span class="by quiet">{escape(entry.by)}</span></div></li>'
    )


def _footer(seal: Seal) -> str:
    return (
        f"<footer>Under checkpoint {escape(seal.origin)}, {seal.size} events, signed {escape(seal.signed_at)}<br>"
        f"<code>SHA-256 of checkpoint.txt {seal.digest}</code><br><code>Root {seal.root}</code></footer>"
    )
