"""Real files through the mend: either a closed solid comes out, every place kept, or it is refused with a reason."""

from __future__ import annotations

import hashlib
from pathlib import Path

import numpy as np
import pytest

from lintsvc.measure.bodies import BodyMeasurements
from lintsvc.measure.mend import CannotMend, mend_file
from lintsvc.model.part import Unreadable
from lintsvc.readers.format import ReadOptions
from lintsvc.readers.read import read_part

pytestmark = pytest.mark.needs_shared
CORPUS = Path(__file__).resolve().parents[3] / "shared" / "corpus" / "open"
ENDINGS = (".stl", ".obj", ".ply", ".3mf", ".glb")
FILES = sorted(p.relative_to(CORPUS).as_posix() for p in CORPUS.glob("*/*") if p.suffix.lower() in ENDINGS)

#: What a mend must do about these, with the volume (file units) of the whole solid. Of the first three the index
#: states the volume; the last is a cube of side 1.
MENDED = {
    "3mf/featuretype.3MF": ("Split 5 faces", 11.636 * 25.4**3),
    "stl/MINI-minda-holder.stl": ("Took out 4 faces", 5803.02),
    "stl/issue1580-back-to-back.stl": ("Took out 2 faces", 10.6667),
    "stl/nonmanifold.stl": ("Closed 1 hole with 1 new face", 1.0),
}
REFUSED = {"obj/WusonOBJ.obj": "open", "obj/openscad-nonmanifold-crash.obj": "odd number of faces"}


@pytest.mark.parametrize("file", FILES)
def test_real_file_is_mended_left_or_refused(file: str, tmp_path: Path) -> None:
    import trimesh

    source = CORPUS / file
    before = hashlib.sha256(source.read_bytes()).digest()
    out = tmp_path / "out.stl"
    try:
        account = mend_file(source, out)
    except (CannotMend, Unreadable) as error:
        assert not out.exists()
        assert file not in MENDED
        if file in REFUSED:
            assert REFUSED[file] in str(error)
        return
    assert file not in REFUSED
    assert hashlib.sha256(source.read_bytes()).digest() == before
    assert account.changed == out.exists()
    part = read_part(source, ReadOptions(file, ""))
    assert part.body is not None
    if not account.changed:
        assert BodyMeasurements(part.body).watertight
        return
    mesh = trimesh.load_mesh(out, process=False)
    mesh.merge_vertices(digits_vertex=9)
    assert mesh.is_watertight
    assert mesh.is_winding_consistent
    # No place that was not there before, but for what was joined.
    if part.units.stated or part.units.value == "mm":
        old = np.unique(part.body.vertices.astype(np.float32), axis=0)
        new = np.unique(mesh.vertices.astype(np.float32), axis=0)
        assert {*map(tuple, new.tolist())} <= {*map(tuple, old.tolist())}
    if file in MENDED:
        done, volume = MENDED[file]
        assert any(x.startswith(done) for x in account.done())
        assert mesh.volume == pytest.approx(volume, rel=1e-4)
