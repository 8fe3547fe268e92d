"""A material that must not be cut by laser."""

from __future__ import annotations

from collections.abc import Iterator

from lintsvc.rulebook import Checked, Hit, Source, rule

GUIDES = Source(
    "handbook",
    "Kansas State University, laser cutter guide (PVC emits chlorine gas); Carnegie Mellon University, EHS newsletter "
    "2014 (hydrogen chloride).",
)


@rule(
    id="sheet/unsafe-to-laser",
    process="sheet",
    kind="sheet",
    level="error",
    since="0.1",
    message="{material} must never be cut by laser. {why} (Source: {source})",
    remedy="Have it cut another way, or choose another material; both are named above.",
    sources=(GUIDES,),
    worse="present",
    needs=("material",),
    impossible=True,
    caution="PVC, vinyl, chlorinated rubber and other chlorinated plastics give off hydrogen chloride and chlorine "
    "under a laser: toxic to breathe, corrosive to the machine. Fluoropolymers give off hydrogen fluoride. Never cut "
    "a plastic of unknown make by laser; ask for its safety data sheet, and follow the shop's and local rules.",
)
def unsafe_to_laser(part: Checked) -> Iterator[Hit]:
    """Material that a laser must not cut.

    Chlorinated plastics give off poisonous and corrosive gas; fluoropolymers too. Polycarbonate, ABS, glass
    fibre and carbon fibre sheet burn, smoke or char, and are cut another way.

    Measured: the material, looked up in the handbook: `never` is an error, `avoid` a warning.
    Ignore when: the part is not cut by laser but routed, water-jet cut, punched, or cut by knife. Say so (`cut`), and
    it is not asked.
    """
    material = part.material
    if material is None or material.laser == "yes" or part.cut != "laser":
        return
    source = material.laser_source.text if material.laser_source is not None else GUIDES.text
    never = material.laser == "never"
    yield Hit(
        where=part.flat.where_of_all,
        limit=None,
        words={"material": material.name, "why": material.laser_why, "source": source},
        message=None if never else "{material} is better not cut by laser. {why} (Source: {source})",
        level=None if never else "warning",
    )
