"""Nothing is compiled in a check once `warm` has run."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
from numba.core.dispatcher import Dispatcher

from lintsvc.measure.warm import warm
from lintsvc.model.choices import Choices
from lintsvc.rulebook.check import check_file
from lintsvc.rulebook.packs import load_pack


def compiled() -> dict[str, int]:
    """How many versions of each kernel there are."""
    found = {}
    for name, module in list(sys.modules.items()):
        if name.startswith("lintsvc.measure"):
            for key, value in vars(module).items():
                if isinstance(value, Dispatcher):
                    found[f"{name}.{key}"] = len(value.signatures)
    return found


def test_no_check_compiles_anything_after_warm(repository: Path, tmp_path: Path) -> None:
    warm()
    before = compiled()
    packs = [load_pack(repository / "rules" / name) for name in ("powder-bed", "soundness")]
    rules = [rule for pack in packs for rule in pack.rules]
    for path in sorted((repository / "rules").glob("*/fixtures/*/*")):
        if path.parts[-4] in ("powder-bed", "soundness") and path.suffix in (".stl", ".obj", ".ply"):
            check_file(path, Choices(process="powder-bed", material="pa12"), rules)
    after = compiled()
    more = {name: count for name, count in after.items() if count > before.get(name, 0)}
    assert not more, f"compiled in a check: {more}"


def test_readonly_arrays_need_no_kernels_of_their_own() -> None:
    from lintsvc.measure.bodies import BodyMeasurements
    from lintsvc.model.body import Body

    warm()
    before = compiled()
    vertices = np.array([[0, 0, 0], [9, 0, 0], [0, 9, 0], [0, 0, 9]], np.float32)
    faces = np.array([[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]], np.int32)
    vertices.flags.writeable = False
    faces.flags.writeable = False
    assert BodyMeasurements(Body(vertices, faces)).watertight
    assert compiled() == before
