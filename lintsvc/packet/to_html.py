"""Pages as one HTML file: no script, nothing loaded from elsewhere, readable in the dark, printed page by page."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from html import escape

from lintsvc.packet.blocks import Block, Drawing, Head, Line, Page, Rows
from lintsvc.reports.colours import LEVEL
from lintsvc.reports.sketch import to_svg
from lintsvc.reports.words import clean, xml_text

_STYLE = (
    ":root{color-scheme:light dark;--ink:#1d2127;--quiet:#5b6470;--paper:#fff;--line:#dde1e6;--shade:#f5f6f8;"
    + "".join(f"--{level}:{colour};" for level, colour in LEVEL.items())
    + "}@media(prefers-color-scheme:dark){:root{--ink:#e7eaee;--quiet:#9aa4b1;--paper:#15181c;--line:#343a42;"
    "--shade:#1e2227}}*{box-sizing:border-box}body{margin:0 auto;padding:2rem 1.25rem 4rem;max-width:60rem;"
    "background:var(--paper);color:var(--ink);font:15px/1.45 system-ui,sans-serif;overflow-wrap:anywhere}"
    "h1{font-size:1.5rem;margin:0 0 .5rem}h2{font-size:1.05rem;margin:1.4rem 0 .4rem}p{margin:0 0 .4rem}"
    ".quiet,figcaption{color:var(--quiet);font-size:.88rem}"
    "section+section{border-top:1px solid var(--line);margin-top:2.5rem;padding-top:2rem}"
    "table{border-collapse:collapse;width:100%;margin:0 0 .5rem;font-size:.92rem}"
    "th,td{text-align:left;vertical-align:top;padding:.2rem .5rem;border-bottom:1px solid var(--line)}"
    # On a phone a hash breaks, and a wide table scrolls by itself.
    "th,td{overflow-wrap:normal}tbody th+td{overflow-wrap:anywhere}.wide{overflow-x:auto}"
    "thead th{background:var(--shade)}tbody th{font-weight:400;color:var(--quiet);width:min(11rem,28%)}"
    "table.fill td,table.fill th{border:1px solid var(--line);height:2rem}"
    "figure{margin:.5rem 0;background:#fff;border:1px solid var(--line);border-radius:8px;padding:.75rem;"
    "text-align:center;break-inside:avoid}figure svg{max-width:100%;height:auto}figcaption{color:#5b6470}"
    "p.finding{border-left:4px solid;padding-left:.6rem}"
    + "".join(f"p.{level}{{border-color:var(--{level})}}" for level in LEVEL)
    + "@media print{.wide{overflow:visible}body{max-width:none;padding:0}section+section{break-before:page;border:0}}"
)
_POLICY = "default-src 'none'; style-src 'unsafe-inline'; img-src data:"


def to_html(pages: Sequence[Page]) -> str:
    """Return the pages one below the other."""
    title = _safe(pages[0].title) if pages else ""
    lines = [
        '<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">',
        '<meta name="viewport" content="width=device-width, initial-scale=1">',
        f'<meta http-equiv="Content-Security-Policy" content="{_POLICY}">',
        f"<title>{title}</title>\n<style>{_STYLE}</style>\n</head>\n<body>",
    ]
    for page in pages:
        lines.append("<section>")
        lines += [x for block in page.blocks for x in _block(block)]
        lines.append("</section>")
    lines.append("</body>\n</html>\n")
    return "\n".join(lines)


def _block(block: Block) -> Iterator[str]:
    match block:
        case Head(text, level):
            yield f"<h{level}>{_safe(text)}</h{level}>"
        case Line(text, quiet, None):
            yield f"<p{' class=quiet' if quiet else ''}>{_safe(text)}</p>"
        case Line(text, _, level):
            yield f'<p class="finding {level}">{_safe(text)}</p>'
        case Drawing(sketch, caption):
            words = f"<figcaption>{_safe(caption)}</figcaption>" if caption else ""
            yield f"<figure>{to_svg(sketch)}{words}</figure>"
        case Rows():
            yield from _table(block)


def _table(block: Rows) -> Iterator[str]:
    if not block.rows:
        return
    yield f"<div class=wide><table{' class=fill' if block.fill_in else ''}>"
    if block.head:
        yield "<thead><tr>" + "".join(f"<th>{_safe(x)}</th>" for x in block.head) + "</tr></thead>"
    yield "<tbody>"
    for row in block.rows:
        # Without a head the first cell names the row.
        first = "td" if block.head else "th"
        cells = [f"<{first}>{_safe(row[0])}</{first}>", *(f"<td>{_safe(x)}</td>" for x in row[1:])]
        yield "<tr>" + "".join(cells) + "</tr>"
    yield "</tbody></table></div>"


def _safe(text: str) -> str:
    return escape(xml_text(clean(text)))
