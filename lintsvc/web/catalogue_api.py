"""What may be chosen and what is checked: processes, materials, rules; and the OpenAPI document."""

from __future__ import annotations

from typing import Any

from flask import Blueprint, Response

from lintsvc.model.choices import PROCESSES
from lintsvc.model.material import Material
from lintsvc.web.auth import asker
from lintsvc.web.checks_api import json_answer
from lintsvc.web.problems import Problem
from lintsvc.web.services import services

api = Blueprint("catalogue", __name__)

_PROCESS_NAMES = {
    "powder-bed": ("Powder-bed print", "3D files, printed in nylon powder"),
    "sheet": ("Cut sheet", "flat files or folded solids, laser-cut and bent, or cut by hand"),
}


@api.get("/processes")
def processes() -> Response:
    """The processes that parts are checked for."""
    asker("read")
    shown = [{"id": x, "name": _PROCESS_NAMES[x][0], "for": _PROCESS_NAMES[x][1]} for x in PROCESSES]
    return json_answer({"processes": shown})


@api.get("/materials")
def materials() -> Response:
    """The handbook's materials."""
    from lintsvc.handbook.materials import materials as all_materials

    asker("read")
    return json_answer({"materials": [_material(x) for x in all_materials()]})


def _material(material: Material) -> dict[str, Any]:
    return {
        "id": material.id,
        "name": material.name,
        "family": material.family,
        "processes": list(material.processes),
        "good_for": material.good_for,
        "density_kg_m3": material.density_kg_m3.value,
        "stock_mm": list(material.stock_mm),
        "stock_in": list(material.stock_in),
        "laser": material.laser,
        "laser_why": material.laser_why,
        "bendable": material.bendable,
    }


@api.get("/rules")
def rules() -> Response:
    """Every rule with its limits and their sources, as the workers have them loaded."""
    asker("read")
    catalogue = services().catalogue()
    if catalogue is None:
        raise Problem(
            "away", "no worker has started yet, and only workers know the rules", headers={"Retry-After": "5"}
        )
    return json_answer({key: catalogue.get(key, []) for key in ("version", "packs", "left_out", "rules")})
