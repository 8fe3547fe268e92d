"""Write the demo's files."""

from __future__ import annotations

from pathlib import Path

from lintsvc.model.choices import Choices, ThreadChoice

#: What is planted in the faulty version, by file: the rules that must find it.
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
    "gasket.dxf": ("sheet/units-missing", "sheet/duplicate-line"),
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
        return Choices(process="sheet", material=gasket.MATERIAL, thickness_mm=gasket.THICKNESS_MM)
    return Choices(process="powder-bed", material=housing.MATERIAL)


def write_demo(folder: Path) -> list[Path]:
    """Write `good/` and `faulty/` with all parts under `folder`; return the files."""
    from lintsvc.demo.bracket import write_bracket
    from lintsvc.demo.gasket import write_gasket
    from lintsvc.demo.housing import housing, lid, write_stl

    written: list[Path] = []
    for name, faulty in (("good", False), ("faulty", True)):
        place = folder / name
        place.mkdir(parents=True, exist_ok=True)
        write_bracket(place / "bracket.dxf", faulty=faulty)
        write_gasket(place / "gasket.dxf", faulty=faulty)
        write_stl(housing(faulty=faulty), place / "housing.stl")
        write_stl(lid(faulty=faulty), place / "lid.stl")
        written += [place / x for x in ("bracket.dxf", "gasket.dxf", "housing.stl", "lid.stl")]
    return written
