"""One page for people: texts, tables and pictures as a single HTML file that needs no network and prints on paper."""

import base64
from collections.abc import Sequence
from dataclasses import dataclass
from html import escape

from tracking.paper.style import Picture


@dataclass(frozen=True, kw_only=True, slots=True)
class Table:
    """A table with a caption; `heading` names the columns, the first cell of each row names the row."""

    caption: str
    heading: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True, kw_only=True, slots=True)
class Section:
    """A part of the page, in this order: paragraphs, a list, tables, pictures, words that are shown as typed."""

    title: str
    paragraphs: tuple[str, ...] = ()
    bullets: tuple[str, ...] = ()
    tables: tuple[Table, ...] = ()
    pictures: tuple[Picture, ...] = ()
    typed: str = ""
    warning: bool = False


STYLE = """
:root { color-scheme: light; }
* { box-sizing: border-box; }
body { margin: 0 auto; padding: 1rem; max-width: 60rem; background: #fff; color: #1a1a1a;
  font: 1rem/1.5 "DejaVu Sans", Verdana, Arial, sans-serif; overflow-wrap: break-word; }
h1 { font-size: 1.6rem; line-height: 1.25; }
h2 { font-size: 1.25rem; margin-top: 2rem; border-bottom: 2px solid #1a1a1a; }
a { color: #004b87; }
nav ul { padding-left: 1.2rem; columns: 2 16rem; }
.warning { border: 3px solid #9c2a00; padding: 0 1rem; margin: 1rem 0; }
.warning h2 { border: 0; margin-top: .6rem; color: #9c2a00; }
.hint { display: none; }
figure { margin: 1rem 0; } figure img { display: block; width: 100%; height: auto; max-width: 64rem; }
figcaption { font-size: .9rem; color: #333; margin-top: .4rem; }
table { border-collapse: collapse; width: 100%; margin: 1rem 0; font-size: .9rem;
  font-variant-numeric: tabular-nums; }
caption { text-align: left; font-weight: bold; padding: .3rem 0; }
th, td { border: 1px solid #767676; padding: .2rem .4rem; text-align: right; vertical-align: top; }
td { white-space: nowrap; }
table.words td { white-space: normal; }
thead th { background: #e8e8e8; } thead th:first-child, th[scope=row] { text-align: left; }
th[scope=row] { font-weight: normal; }
table.brief th[scope=row] { white-space: nowrap; }
table.words td, table.words th { text-align: left; }
pre { white-space: pre-wrap; overflow-wrap: anywhere; background: #f2f2f2; padding: .6rem; font-size: .9rem; }
@media (max-width: 40rem) { .wide { overflow-x: auto; } .wide img { min-width: 38rem; } .hint { display: block; }
  table { font-size: .78rem; } th, td { padding: .15rem .25rem; } }
@media (max-width: 30rem) { body { padding: .6rem; } table { font-size: .7rem; } th, td { padding: .15rem .12rem; } }
@media screen { .slide { overflow-x: auto; } }
@media print { @page { margin: 15mm; } body { max-width: none; padding: 0 1px; font-size: 10.5pt; }
  nav { display: none; } h2, caption { break-after: avoid; }
  figure, tr, pre, table.short, section.short { break-inside: avoid; }
  thead { display: table-header-group; }
  figure img { max-height: 210mm; width: auto; max-width: 100%; } a { color: inherit; } }
"""
"""On a narrow screen a picture keeps a size at which its words can be read, and slides within its own frame.

Text, captions, links and the warning's red stand on white with more than the 4.5:1 of WCAG 2.1, 1.4.3, level AA."""


def page(title: str, subtitle: str, sections: Sequence[Section]) -> str:
    """The whole page as HTML text."""
    links = "".join(
        f'<li><a href="#part-{k}">{escape(section.title)}</a></li>' for k, section in enumerate(sections, start=1)
    )
    body = "\n".join(_section(k, section) for k, section in enumerate(sections, start=1))
    return (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f'<title>{escape(title)}</title>\n<link rel="icon" href="data:,">\n<style>{STYLE}</style>\n</head>\n<body>\n'
        f'<header><h1>{escape(title)}</h1>\n<p>{escape(subtitle)}</p>\n<p class="hint">{HINT}</p></header>\n'
        f'<nav aria-label="Parts of this page"><ul>{links}</ul></nav>\n<main>\n{body}\n</main>\n</body>\n</html>\n'
    )


def _section(number: int, section: Section) -> str:
    parts = [f'<h2 id="part-{number}">{escape(section.title)}</h2>']
    parts += [f"<p>{escape(text)}</p>" for text in section.paragraphs]
    if section.bullets:
        parts.append("<ul>" + "".join(f"<li>{escape(text)}</li>" for text in section.bullets) + "</ul>")
    parts += [_table(table) for table in section.tables]
    parts += [_figure(picture) for picture in section.pictures]
    if section.typed:
        parts.append(f"<pre>{escape(section.typed)}</pre>")
    classes = ["warning"] * section.warning + ["short"] * (not section.tables and not section.pictures)
    kind = f' class="{" ".join(classes)}"' if classes else ""
    return f'<section aria-labelledby="part-{number}"{kind}>\n' + "\n".join(parts) + "\n</section>"


def _table(table: Table) -> str:
    head = "".join(f'<th scope="col">{escape(text)}</th>' for text in table.heading)
    rows = "".join(f'<tr><th scope="row">{_breakable(row[0])}</th>' + _cells(row[1:]) + "</tr>\n" for row in table.rows)
    classes = ["words"] * any(len(cell) > LONG_CELL for row in table.rows for cell in row[1:])
    classes += ["short"] * (len(table.rows) <= SHORT_TABLE)
    classes += ["brief"] * all(len(row[0]) <= BRIEF for row in table.rows)
    kind = f' class="{" ".join(classes)}"' if classes else ""
    # A screen reader reads a table by itself; who has a keyboard alone must reach those that may need to slide.
    reach = (
        f' tabindex="0" role="group" aria-label="{escape(table.caption)}"' if len(table.heading) > FEW_COLUMNS else ""
    )
    return (
        f'<div class="slide"{reach}>'
        f"<table{kind}>\n<caption>{escape(table.caption)}</caption>\n"
        f"<thead><tr>{head}</tr></thead>\n<tbody>\n{rows}</tbody>\n</table></div>"
    )


def _cells(texts: Sequence[str]) -> str:
    return "".join(f"<td>{escape(text)}</td>" for text in texts)


def _breakable(text: str) -> str:
    """A name that may go on in the next line after a dot or an underscore."""
    return escape(text).replace("_", "_<wbr>").replace(".", ".<wbr>")


HINT = "On a narrow screen pictures and wide tables slide sideways within their frames."

BRIEF = 10
"""Names of rows that are all no longer than this are not broken [characters]."""

FEW_COLUMNS = 6
"""Columns that find room on a telephone."""

SHORT_TABLE = 20
"""A table of so many rows is not cut by the end of a printed page."""

LONG_CELL = 24
"""A table with a cell longer than this holds words, which stand to the left [characters]."""


def _figure(picture: Picture) -> str:
    data = base64.b64encode(picture.png()).decode("ascii")
    return (
        f'<figure><div class="wide" tabindex="0" role="group" aria-label="{escape(picture.title)}">'
        f'<img src="data:image/png;base64,{data}" alt="{escape(picture.alt)}">'
        f"</div><figcaption>{escape(picture.title)}. {escape(picture.alt)}</figcaption></figure>"
    )
