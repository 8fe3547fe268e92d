"""`lintsvc materials`."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from lintsvc.model.material import Material, Value


@click.command()
@click.option("--process", type=click.Choice(["powder-bed", "sheet"]), help="Only materials of this process.")
@click.option(
    "--format",
    "form",
    type=click.Choice(["text", "json"]),
    default="text",
    show_default=True,
    help="How the list is written.",
)
def materials(process: str | None, form: str) -> None:
    """List the materials of the handbook. JSON also gives the values and where each comes from."""
    from lintsvc.handbook.materials import materials as all_materials
    from lintsvc.reports.tables import text_table
    from lintsvc.rulebook.wording import number

    found = [x for x in all_materials() if process is None or process in x.processes]
    if form == "json":
        click.echo(json.dumps([_json(x) for x in found], indent=2))
        return
    rows = [("material", "process", "density", "laser", "good for")]
    rows += [
        (x.id, ", ".join(x.processes), f"{number(x.density_kg_m3.value)} kg/m³", x.laser, x.good_for) for x in found
    ]
    click.echo("\n".join(text_table(rows)))


def _json(material: Material) -> dict[str, Any]:
    return {
        "id": material.id,
        "name": material.name,
        "family": material.family,
        "processes": list(material.processes),
        "good_for": material.good_for,
        "density_kg_m3": _value(material.density_kg_m3),
        "youngs_modulus_gpa": _value(material.youngs_modulus_gpa),
        "yield_mpa": _value(material.yield_mpa),
        "ultimate_mpa": _value(material.ultimate_mpa),
        "stock_mm": list(material.stock_mm),
        "stock_in": list(material.stock_in),
        "laser": material.laser,
        "laser_why": material.laser_why,
        "bendable": material.bendable,
    }


def _value(value: Value | None) -> dict[str, Any] | None:
    if value is None:
        return None
    return {"value": value.value, "source": {"kind": value.source.kind, "text": value.source.text}}
