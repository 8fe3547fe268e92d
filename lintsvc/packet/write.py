"""The packet as files, and as a zip whose bytes depend on nothing but what is in it."""

from __future__ import annotations

import hashlib
import io
import zipfile
from collections.abc import Iterator, Mapping, Sequence
from typing import TYPE_CHECKING

from lintsvc.packet.blocks import Page
from lintsvc.packet.drawn import Drawn
from lintsvc.packet.inspection import Size, sizes_of
from lintsvc.packet.inspection_page import inspection_page, results_csv
from lintsvc.packet.notes import notes, part_notes
from lintsvc.packet.order_page import order_page
from lintsvc.packet.part_page import part_page
from lintsvc.packet.prints import outline_print
from lintsvc.packet.to_html import to_html
from lintsvc.packet.to_pdf import to_pdf
from lintsvc.reports.highlights import safe_stem

if TYPE_CHECKING:
    from lintsvc.model.report import OrderReport
    from lintsvc.order.checked import CheckedOrder
    from lintsvc.order.things import OrderedPart
    from lintsvc.reports.one_to_one import Paper

#: The earliest time that a zip can hold: the same packet is the same file on every day.
_TIME = (1980, 1, 1, 0, 0, 0)
RESULTS = "results.csv"


class PacketError(Exception):
    """The packet cannot be made. Says why."""


def packet_files(
    order: CheckedOrder,
    drawn: Mapping[str, Drawn],
    *,
    entry: OrderReport | None = None,
    paper: Paper = "A4",
    offset_mm: float = 0.0,
) -> dict[str, bytes]:
    """Return the files of a packet by their names in it.

    `drawn`: by part id; a part whose file could not be read is missing. `entry`: what rules of orders said.
    `offset_mm` moves the outlines of the 1:1 prints. Raises PacketError for a file that is not the one that was
    checked, and for ids that make one file name.
    """
    pages = {x.id: part_page(order, x, drawn.get(x.id), _sizes(order, x, drawn)) for x in order.parts}
    whole = [order_page(order, entry, drawn), *pages.values()]
    files = {
        "order.pdf": to_pdf(whole, paper),
        "order.html": to_html(whole).encode(),
        "notes.txt": notes(order, drawn).encode(),
    }
    files[RESULTS] = results_table(order, drawn)
    taken: set[str] = set()
    for part in order.parts:
        folder = f"parts/{safe_stem(part.id, taken)}"
        files |= {
            f"{folder}/{name}": data for name, data in _part_files(order, part, drawn, pages[part.id], paper, offset_mm)
        }
    sums = "".join(f"{hashlib.sha256(data).hexdigest()}  {name}\n" for name, data in sorted(files.items()))
    files["SHA256SUMS"] = sums.encode()
    return files


def inspection_sheets(order: CheckedOrder, drawn: Mapping[str, Drawn], paper: Paper = "A4") -> bytes:
    """Return the inspection sheets of all parts as one PDF."""
    pages = [inspection_page(x, drawn[x.id], _sizes(order, x, drawn)) for x in order.parts if x.id in drawn]
    return to_pdf(pages, paper)


def results_table(order: CheckedOrder, drawn: Mapping[str, Drawn]) -> bytes:
    """Return the table to type results into, as CSV; with a mark at its start by which spreadsheets know UTF-8."""
    measured = [(x, _sizes(order, x, drawn)) for x in order.parts if x.id in drawn]
    return results_csv(measured).encode("utf-8-sig")


def zipped(files: Mapping[str, bytes]) -> bytes:
    """Return a zip of files; the same files give the same bytes."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED, compresslevel=6) as packet:
        for name in sorted(files):
            info = zipfile.ZipInfo(name, _TIME)
            info.compress_type = zipfile.ZIP_DEFLATED
            info.external_attr = 0o644 << 16
            # Written the same on every system.
            info.create_system = 3
            packet.writestr(info, files[name])
    return out.getvalue()


def _sizes(order: CheckedOrder, part: OrderedPart, drawn: Mapping[str, Drawn]) -> Sequence[Size]:
    return sizes_of(order, part, drawn[part.id]) if part.id in drawn else ()


def _part_files(
    order: CheckedOrder, part: OrderedPart, drawn: Mapping[str, Drawn], page: Page, paper: Paper, offset_mm: float
) -> Iterator[tuple[str, bytes]]:
    here = drawn.get(part.id)
    taken: set[str] = {"part.pdf", "part.html", "notes.txt", "inspection.pdf", "outline-1to1.pdf"}
    # A file that is not there is told on the part's page as unreadable.
    if part.report.unreadable is None or part.path.is_file():
        yield safe_stem(part.path.name, taken), _original(part)
    yield "part.pdf", to_pdf([page], paper)
    yield "part.html", to_html([page]).encode()
    yield "notes.txt", part_notes(order, part, here).encode()
    if here is None:
        return
    yield "inspection.pdf", to_pdf([inspection_page(part, here, _sizes(order, part, drawn))], paper)
    if here.outline and not here.bends:
        try:
            yield "outline-1to1.pdf", outline_print(here, f"{part.id} {part.path.name}", paper, offset_mm)
        except ValueError:
            # Too large for paper: the page says its size, and a plotter takes the file itself.
            return


def _original(part: OrderedPart) -> bytes:
    """Return the file that was checked, byte for byte."""
    try:
        data = part.path.read_bytes()
    except OSError as error:
        raise PacketError(f"{part.path}: cannot be opened: {error.strerror}") from None
    if part.report.sha256 and hashlib.sha256(data).hexdigest() != part.report.sha256:
        raise PacketError(f"{part.path}: changed while the packet was made; make it again")
    return data
