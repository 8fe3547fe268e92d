"""The demo's order: bracket, housing, lid and gasket with what they hold, in a good version and one of misfits.

In the misfit version every part is good by itself; what is wrong lies between them, and in the order.
"""

from __future__ import annotations

import hashlib
from pathlib import Path

from lintsvc.demo import bracket, gasket, housing

#: What is planted in the misfit version: the rules that must find it.
MISFITS: tuple[str, ...] = (
    "fit/holes-do-not-meet",
    "fit/clearance-hole-tight",
    "fit/does-not-fit",
    "fit/finish-eats-play",
    "fit/parts-clash",
    "fit/screw-too-short",
    "fit/screw-too-long",
    "fit/head-has-no-room",
    "order/too-heavy-to-hand",
    "order/too-bendy",
    "order/over-yield",
    "order/too-few-spares",
    "order/late",
    "order/file-changed-since-checked",
)


def write_order(path: Path, *, misfit: bool = False) -> None:
    """Write the order beside its parts, which must be there already: it names their hashes."""
    path.write_text(order_text(path.parent, misfit=misfit), "utf-8")


def order_text(folder: Path, *, misfit: bool) -> str:
    """Return the order's text.

    Misfit: a sensor 45 mm high that runs into the lid, lid screws of 18 mm, bracket screws of 4 mm, a bracket that is
    powder-coated, a load of 600 N, four gaskets without a spare, a weight limit of 250 g, a date too early, and a hash
    of another file.
    """
    threads = "\n".join(
        f'[[part.threads]]\nat = [{x}, {y:.4f}]\nthread = "{name}"\n'
        for name, centres in (("M4", bracket.M4_CENTRES), ("M5", bracket.M5_CENTRES))
        for x, y in centres
    )
    digest = hashlib.sha256((folder / "housing.stl").read_bytes()).hexdigest()
    middle = (bracket.PLATE_START + bracket.PLATE_END) / 2
    holes = [(x, y) for x in (-20.0, 20.0) for y in (-18.0, 18.0)]
    clamp_holes = ", ".join(f"{{ at = [{x}, {y}, 6.0], diameter = 6.6 }}" for x, y in holes)
    held = ", ".join(f"[{x}, {middle + y:.2f}, 1.25]" for x, y in holes)
    bx, by, bz = housing.BATTERY_MM
    battery_x = housing.OUTSIDE_MM[0] - housing.WALL_MM - 1.0 - bx / 2
    high = 45.0 if misfit else 30.0
    return f"""# The order of the stream-level gauge. Lengths are mm.
[order]
name = "Stream-level gauge"
currency = "EUR"
order_on = 2026-03-02
need_by = {"2026-03-12" if misfit else "2026-03-27"}
assembly_days = 1

[allowed]
deflection = 0.5
yield_share = 0.5
mass = "{"250 g" if misfit else "600 g"}"

[[part]]
id = "bracket"
file = "bracket.dxf"
process = "sheet"
material = "{bracket.MATERIAL}"
thickness = {bracket.THICKNESS_MM}
finish = "{"powder-coat" if misfit else "anodise"}"
supplier = "sheet-shop"
bad_share = 0.02

{threads}
[[part]]
id = "housing"
file = "housing.stl"
process = "powder-bed"
material = "{housing.MATERIAL}"
finish = "dye"
supplier = "print-shop"
bad_share = 0.02
checked_sha256 = "{"0" * 64 if misfit else digest}"

[[part]]
id = "lid"
file = "lid.stl"
process = "powder-bed"
material = "{housing.MATERIAL}"
finish = "dye"
supplier = "print-shop"
bad_share = 0.02

[[part]]
id = "gasket"
file = "gasket.dxf"
process = "sheet"
material = "{gasket.MATERIAL}"
thickness = {gasket.THICKNESS_MM}
cut = "knife"
quantity = {4 if misfit else 2}
spares = {0 if misfit else 1}
bad_share = 0.05

[[bought]]
id = "sensor"
shape = "cylinder"
diameter = {housing.SENSOR_MM}
height = {high}
tolerance = 0.05
mass = "60 g"
supplier = "parts-shop"

[[bought]]
id = "battery"
shape = "box"
size = [{bx}, {by}, {bz}]
tolerance = 0.2
mass = "95 g"
supplier = "parts-shop"

[[bought]]
id = "clamp"
shape = "box"
size = [56.0, 52.0, 12.0]
mass = "110 g"
holes = [{clamp_holes}]
supplier = "parts-shop"

# What it hangs on weighs nothing here: nobody carries it.
[[bought]]
id = "mast"
shape = "box"
size = [40.0, 17.0, 250.0]
mass = 0

# The mast stands upright behind the clamp: the bracket's y points up, and the housing has to look away from it.
[[place]]
of = "bracket"
turn_deg = [90.0, 0.0, 0.0]

[[place]]
of = "mast"
at = [0.0, 32.0, 155.0]

[[relation]]
kind = "holes-meet"
a = {{ of = "housing", face = "down" }}
b = {{ of = "bracket", face = "down", diameter = {bracket.TAP_M4_MM} }}
screw = {{ size = "M4", length = {4.0 if misfit else 6.0}, into = "thread" }}

[[relation]]
kind = "holes-meet"
a = {{ of = "lid", face = "down", diameter = {4.1 if misfit else housing.LID_HOLE_MM} }}
b = {{ of = "housing" }}
through = ["gasket"]
screw = {{ size = "M4", length = {18.0 if misfit else 16.0}, into = "thread" }}

[[relation]]
kind = "holes-meet"
a = {{ of = "bracket", face = "down" }}
b = {{ of = "clamp" }}
screw = {{ size = "M6", length = 25.0, into = "nut" }}

[[relation]]
kind = "holds"
part = "housing"
thing = "sensor"
play = 0.1
at = [25.0, {housing.OUTSIDE_MM[1] / 2}, {1.0 + high / 2}]

[[relation]]
kind = "holds"
part = "housing"
thing = "battery"
play = 0.2
at = [{battery_x}, {housing.OUTSIDE_MM[1] / 2}, {housing.WALL_MM + bz / 2}]

# Somebody leans on the shelf that the housing stands on.
[[rest]]
of = "bracket"
kind = "clamp"
points = [{held}]
reach = 6.0

[[load]]
on = "bracket"
force = "{600 if misfit else 40} N"
at = [0.0, {bracket.SHELF_TOP_MM:.3f}, 24.0]
direction = [0.0, -1.0, 0.0]

[[supplier]]
id = "sheet-shop"
lead_days = 6
transport_days = 2

[[supplier]]
id = "print-shop"
lead_days = 8
transport_days = 3

[[supplier]]
id = "parts-shop"
lead_days = 1
transport_days = 2

[[price]]
part = "bracket"
quantity = 1
each = 21.5
setup = 15.0

[[price]]
part = "housing"
quantity = 1
each = 38.0

[[price]]
part = "lid"
quantity = 1
each = 24.0
"""
