"""Write the demo's files."""

from __future__ import annotations

from pathlib import Path

from lintsvc.model.choices import Choices, ThreadChoice

#: What is planted in the faulty version, by file: the rules that must find it, each once, and no other.
FAULTS: dict[str, tuple[str, ...]] = {
    "bracket.dxf": (
        "sheet/open-contour",
        "sheet/hole-too-small",
        "bend/direction-missing",
        "bend/hole-near-bend",
        "thread/pilot-hole-wrong",
    ),
    "housing.stl": ("powder-bed/thin-wall", "powder-bed/trapped-powder", "powder-bed/narrow-slot"),
    "lid.stl": ("powder-bed/narrow-clearance",),
    "gasket.dxf": ("sheet/units-missing", "sheet/duplicate-line", "sheet/web-too-thin"),
}


def choices_of(name: str) -> Choices:
    """Return what the order says of a part of the demo."""
    from lintsvc.demo import bracket, gasket, housing

    if name == "bracket.dxf":
        threads = [ThreadChoice("M4", x) for x in bracket.M4_CENTRES] + [
            ThreadChoice("M5", x) for x in bracket.M5_CENTRES
        ]
        return Choices(
            process="sheet", material=bracket.MATERIAL, thickness_mm=bracket.THICKNESS_MM, threads=tuple(threads)
        )
    if name == "gasket.dxf":
        return Choices(process="sheet", material=gasket.MATERIAL, thickness_mm=gasket.THICKNESS_MM, cut="knife")
    return Choices(process="powder-bed", material=housing.MATERIAL)


def write_demo(folder: Path) -> list[Path]:
    """Write all parts with their order under `folder`: `good/`, `faulty/`, and `misfit/`, good parts that do not fit.

    Returns the files.
    """
    from lintsvc.demo.bracket import write_bracket
    from lintsvc.demo.gasket import write_gasket
    from lintsvc.demo.housing import housing, lid, write_stl
    from lintsvc.demo.order import write_order

    written: list[Path] = []
    for name in ("good", "faulty", "misfit"):
        faulty, misfit = name == "faulty", name == "misfit"
        place = folder / name
        place.mkdir(parents=True, exist_ok=True)
        write_bracket(place / "bracket.dxf", faulty=faulty)
        write_gasket(place / "gasket.dxf", faulty=faulty)
        write_stl(housing(faulty=faulty, misfit=misfit), place / "housing.stl")
        write_stl(lid(faulty=faulty, misfit=misfit), place / "lid.stl")
        write_order(place / "order.toml", misfit=misfit)
        written += [place / x for x in ("bracket.dxf", "gasket.dxf", "housing.stl", "lid.stl", "order.toml")]
    return written
