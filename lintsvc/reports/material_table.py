"""The table of materials and thicknesses, as JSON types and as text."""

from __future__ import annotations

from typing import Any

from lintsvc.model.finding import LEVELS, Quantity
from lintsvc.reports.json_report import finding_to_dict
from lintsvc.reports.tables import text_table
from lintsvc.reports.words import against, clean, plural
from lintsvc.rulebook.compare_materials import MaterialTable, Row, place_of
from lintsvc.rulebook.wording import number, show

Json = dict[str, Any]


def to_dict(table: MaterialTable) -> Json:
    """Return the table as JSON types. Lengths in mm, masses in g; what is not known is null.

    It may be a piece of `of` rows; `next` is where the next piece starts, null after the last.
    """
    return {
        "process": table.process,
        "rows": [_row(x) for x in table.rows],
        "stiffness_why": table.stiffness_why,
        "of": table.of,
        "next": table.next,
    }


def _row(row: Row) -> Json:
    worst = None
    if row.worst is not None:
        told = finding_to_dict(row.worst)
        worst = {key: told[key] for key in ("rule", "level", "message", "measured", "limit")}
    modulus = row.material.youngs_modulus_gpa
    return {
        "material": row.material.id,
        "name": row.material.name,
        "place": place_of(row.material),
        "thickness_mm": row.thickness_mm,
        "chosen": row.chosen,
        "stocked": row.stocked,
        "passes": row.passes,
        "counts": dict(row.counts),
        "worst": worst,
        "past": row.past,
        "not_checked": row.not_checked,
        "mass_g": row.mass_g,
        "stiffness": row.stiffness,
        "youngs_modulus_gpa": None if modulus is None else {
            "value": modulus.value, "source": {"kind": modulus.source.kind, "text": modulus.source.text}
        },
    }  # fmt: skip


def text(table: MaterialTable) -> str:
    """Return the table as text; the chosen row is marked with an arrow."""
    rows: list[tuple[str, ...]] = [("", "material", "thickness", "result", "mass", "stiffness", "worst")]
    rows += [_cells(x) for x in table.rows]
    lines = text_table(rows)
    lines += ["", f"stiffness: {table.stiffness_why}"]
    return "\n".join(lines) + "\n"


def _cells(row: Row) -> tuple[str, ...]:
    found = [plural(row.counts[level], level) for level in LEVELS if row.counts[level]]
    missed = [f"{row.not_checked} not checked"] if row.not_checked else []
    worst = ""
    if row.worst is not None:
        worst = f"{row.worst.rule} {against(row.worst)}".rstrip()
    return (
        "→" if row.chosen else "",
        row.material.id,
        "" if row.thickness_mm is None else show(Quantity(row.thickness_mm, "mm")),
        ", ".join([*found, *missed]) if found else ", ".join(["passes", *missed]),
        "" if row.mass_g is None else f"{number(round(row.mass_g, 1))} g",
        "" if row.stiffness is None else f"{number(round(row.stiffness, 3 if row.stiffness < 1 else 2))}x",
        clean(worst),
    )
