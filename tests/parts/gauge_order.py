"""A small order of the demo's parts, checked in this process: for tests of what goes out and comes back."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from pathlib import Path

from lintsvc.demo import bracket
from lintsvc.demo.gasket import write_gasket
from lintsvc.demo.housing import lid, write_stl
from lintsvc.order.checked import CheckedOrder
from lintsvc.order.choices import choices_of
from lintsvc.order.load import load_here
from lintsvc.packet.drawn import Drawn, drawn_of
from lintsvc.rulebook.check import check_file
from lintsvc.rulebook.rule import Rule

TODAY = date(2026, 3, 2)

ORDER = """
[order]
name = "Stream-level gauge"
order_on = 2026-03-02
need_by = 2026-03-27
assembly_days = 1
{about}
[[part]]
id = "bracket"
file = "bracket.dxf"
process = "sheet"
material = "aluminium-5052-h32"
thickness = "2.5mm"
quantity = 2
spares = 1
supplier = "laser"
threads = [{threads}]
countersinks = [{{ at = [-20, {sink}], screw = "M4" }}]
[[part]]
id = "lid"
file = "lid.stl"
process = "powder-bed"
material = "pa12"
quantity = 2
supplier = "powder"
[[part]]
id = "gasket"
file = "gasket.dxf"
process = "sheet"
material = "rubber"
thickness = "2mm"
[[relation]]
kind = "holes-meet"
a = {{ of = "lid", diameter = "4.8mm" }}
b = {{ of = "gasket", diameter = "4.4mm" }}
screw = {{ size = "M3", length = "12mm" }}
[[supplier]]
id = "laser"
lead_days = 6
transport_days = 2
transport = 14
bad_share = 0.03
[[supplier]]
id = "powder"
lead_days = 7
transport_days = 2
[[price]]
part = "bracket"
quantity = 1
each = 31.5
setup = 25
{more}
"""


def write_order(folder: Path, *, about: str = "", more: str = "", faulty: bool = False) -> Path:
    """Write the order and its parts; return the order's path."""
    bracket.write_bracket(folder / "bracket.dxf", faulty=faulty)
    write_gasket(folder / "gasket.dxf", faulty=False)
    write_stl(lid(faulty=False), folder / "lid.stl")
    threads = [("M4", x) for x in bracket.M4_CENTRES] + [("M5", x) for x in bracket.M5_CENTRES]
    rows = ", ".join(f'{{ at = [{x:.3f}, {y:.3f}], thread = "{name}" }}' for name, (x, y) in threads)
    middle = (bracket.PLATE_START + bracket.PLATE_END) / 2
    path = folder / "order.toml"
    path.write_text(ORDER.format(threads=rows, sink=f"{middle - 18:.3f}", about=about, more=more), "utf-8")
    return path


def checked(path: Path, rules: Iterable[Rule] = ()) -> tuple[CheckedOrder, dict[str, Drawn]]:
    """Return the order, checked, and what is drawn of each part that could be read."""
    order = load_here(path, rules, today=TODAY)
    drawn = {}
    for part in order.parts:
        result = check_file(part.path, choices_of(part.entry), ())
        if result.checked is not None:
            drawn[part.id] = drawn_of(result.checked)
    return order, drawn
