"""A safe mend: what is surely meant is set right, everything else stays in place, and the account says what was done.

Joined: vertices of open edges a hair apart. Taken out: faces without area, copies of faces. Turned: faces and
shells that face the wrong way. Closed: plain holes. What comes out is checked; a mend that does not end in a
closed, well-turned surface is refused, and nothing is written.
"""

from __future__ import annotations

import os
import shutil
import tempfile
from dataclasses import dataclass, field
from pathlib import Path
from typing import IO

import numpy as np

from lintsvc.measure.mend_draft import Draft
from lintsvc.measure.mend_holes import fill_holes
from lintsvc.measure.mend_steps import drop_spare, flat_faces, join_seams, open_edges, stitch, take_out_flat, turn
from lintsvc.measure.mend_write import WRITERS
from lintsvc.measure.mesh import Mesh
from lintsvc.measure.self_crossing import ROUNDINGS_OF_A_CONTACT, contacts
from lintsvc.measure.shells import Shells
from lintsvc.measure.topology import Topology
from lintsvc.model.body import Body
from lintsvc.model.part import Part, Unreadable
from lintsvc.readers.format import ReadOptions
from lintsvc.readers.read import read_part

_THERE = "A file of that name is there already; a mend never writes over a file."


class CannotMend(Exception):
    """The mend was refused and nothing was written. Says why, in plain sentences."""


@dataclass(frozen=True)
class MendAccount:
    """What a mend did. Counts are of vertices, faces, shells and holes; lengths are in the file's unit or mm."""

    faces_before: int
    faces_after: int
    vertices_joined: int = 0
    furthest_joined: float = 0.0
    faces_stitched: int = 0
    collapsed_taken_out: int = 0
    copies_taken_out: int = 0
    flat_taken_out: int = 0
    faces_turned: int = 0
    shells_turned: int = 0
    holes_filled: int = 0
    faces_added: int = 0
    area_added: float = 0.0
    volume_after: float = 0.0
    #: Things noticed and left as they are.
    left: tuple[str, ...] = field(default=())

    @property
    def changed(self) -> bool:
        """True when there was anything to mend."""
        return bool(self.done())

    def done(self) -> tuple[str, ...]:
        """What was done, one sentence each."""
        rows = (
            (
                self.vertices_joined,
                f"Joined {_count(self.vertices_joined, 'vertex', 'vertices')} on open edges, "
                f"at most {self.furthest_joined:.2g} apart.",
            ),
            (self.faces_stitched, f"Split {_count(self.faces_stitched, 'face')} at vertices that lay on an open edge."),
            (
                self.collapsed_taken_out,
                f"Took out {_count(self.collapsed_taken_out, 'face')} with two corners in one place.",
            ),
            (self.copies_taken_out, f"Took out {_count(self.copies_taken_out, 'face')} that lay on another one."),
            (self.flat_taken_out, f"Took out {_count(self.flat_taken_out, 'face')} with all corners on one line."),
            (self.faces_turned, f"Turned {_count(self.faces_turned, 'face')} the way of the surface around."),
            (self.shells_turned, f"Turned {_count(self.shells_turned, 'shell')} that faced inward."),
            (
                self.holes_filled,
                f"Closed {_count(self.holes_filled, 'hole')} with {_count(self.faces_added, 'new face')} "
                f"({self.area_added:.4g} square units).",
            ),
        )
        return tuple(sentence for count, sentence in rows if count)


def _count(count: int, one: str, many: str = "") -> str:
    return f"{count:,} {one if count == 1 else many or one + 's'}"


def mend_body(body: Body) -> tuple[Draft, MendAccount]:
    """Mend a body. Raises CannotMend when the result would not be a sound solid, or is not sure."""
    draft = Draft.of(body)
    before = len(draft.faces)
    draft, joined, furthest = join_seams(draft)
    draft, collapsed, copies = drop_spare(draft)
    draft, stitched = stitch(draft)
    draft, flat = take_out_flat(draft)
    draft, turned, shells = turn(draft)
    rims = len(draft.faces)
    draft, filled = fill_holes(draft)
    added = len(draft.faces) - rims
    if added:
        # Only now that the surface is closed can a shell be seen to be inside out.
        draft, _, more = turn(draft)
        shells += more
    _check(draft, rims, filled.left)
    account = MendAccount(
        faces_before=before,
        faces_after=len(draft.faces),
        vertices_joined=joined,
        furthest_joined=furthest,
        faces_stitched=stitched,
        collapsed_taken_out=collapsed,
        copies_taken_out=copies,
        flat_taken_out=flat,
        faces_turned=turned,
        shells_turned=shells,
        holes_filled=filled.holes,
        faces_added=added,
        area_added=filled.area_mm2,
        volume_after=float(Shells(draft.mesh, draft.topology).volume.sum()),
        left=_left(draft),
    )
    return draft, account


def _check(draft: Draft, rims: int, why: tuple[str, ...]) -> None:
    """Refuse a result that is not closed, not wound one way, or crossed by what was put in."""
    faults = list(dict.fromkeys(why))
    still = open_edges(draft)
    if still:
        faults.append(f"{_count(still, 'edge')} would still be open.")
    topology = draft.topology
    if topology.twisted.any():
        faults.append("The surface is twisted into itself and has no outside.")
    shells = Shells(draft.mesh, topology)
    if not still and not shells.closed.all() and not topology.twisted.any():
        faults.append("At some edges an odd number of faces meets; which of them is one too many is not sure.")
    if len(topology.set_aside) or shells.against.any() or not len(draft.faces):
        faults.append("What is left would not be a sound surface.")
    if rims < len(draft.faces) and not faults:
        found = contacts(draft.mesh, ROUNDINGS_OF_A_CONTACT * draft.mesh.rounding_mm)
        if len(found) and int(found.second.max()) >= rims:
            faults.append("A face that would close a hole would cross the body.")
    if faults:
        raise CannotMend(" ".join(faults))


def _left(draft: Draft) -> tuple[str, ...]:
    left = []
    flat = len(flat_faces(draft))
    if flat:
        left.append(f"{_count(flat, 'face')} with all corners on one line could not be taken out.")
    if len(draft.topology.crowded):
        left.append("Bodies touch in a line; they were left as they are.")
    found = contacts(draft.mesh, ROUNDINGS_OF_A_CONTACT * draft.mesh.rounding_mm)
    if len(found):
        left.append(f"{_count(len(found.faces), 'face')} cross or lie on each other; they were left as they are.")
    return tuple(left)


def mend_file(in_path: Path, out_path: Path) -> MendAccount:
    """Mend a mesh file into a new file; the format follows the new file's ending: .stl, .obj, .ply or .3mf.

    Never writes over a file that is there. When there is nothing to mend nothing is written, and the account
    says so by `changed`. Raises CannotMend, and Unreadable for a file that cannot be read.
    """
    ending = out_path.suffix.lower()
    if ending not in WRITERS:
        what = f"{ending} is not written" if ending else "this name has no ending"
        raise CannotMend(f"The new file must end in {', '.join(sorted(WRITERS))}; {what}.")
    if out_path.exists() or out_path.is_symlink():
        raise CannotMend(_THERE)
    part, unit = _read(in_path)
    body = part.body
    if body is None or part.kind != "body" or body.chord_error_mm is not None or body.exact is not None:
        raise CannotMend(
            "Only files of triangles are mended (STL, OBJ, PLY, 3MF, glTF); mend this one where it was drawn."
        )
    draft, account = mend_body(body)
    if account.changed:
        _write(draft, body, out_path, unit)
    return account


def _read(path: Path) -> tuple[Part, str]:
    """Read a file, and the unit that its numbers come in.

    A file that states no unit keeps its own numbers, so that they come out as they went in.
    """
    part = read_part(path, ReadOptions(path.name, ""))
    unit = "mm" if part.units.stated else part.units.value
    if unit != "mm":
        part = read_part(path, ReadOptions(path.name, "", units="mm"))
    return part, unit


def _write(draft: Draft, body: Body, out_path: Path, unit: str) -> None:
    """Write beside the target, read it back, compare, and only then give it its name."""
    ending = out_path.suffix.lower()
    handle, name = tempfile.mkstemp(prefix=".mend-", suffix=ending, dir=out_path.parent)
    os.close(handle)
    beside = Path(name)
    try:
        WRITERS[ending](beside, draft, body.object_names, body.single_precision, unit)
        _compare(beside, draft)
        try:
            # Fails where a file has come up meanwhile; a rename would write over it.
            with beside.open("rb") as source, out_path.open("xb") as target:
                _copy(source, target, out_path)
        except FileExistsError:
            raise CannotMend(_THERE) from None
    finally:
        beside.unlink(missing_ok=True)


def _copy(source: IO[bytes], target: IO[bytes], path: Path) -> None:
    """Copy all, or leave nothing behind."""
    try:
        shutil.copyfileobj(source, target)
    except OSError:
        path.unlink()
        raise


def _compare(path: Path, draft: Draft) -> None:
    """Check that what was written is what was mended. Raises CannotMend."""
    try:
        again = read_part(path, ReadOptions(path.name, "", units="mm"))
    except Unreadable as error:
        raise CannotMend(f"The mended file could not be read back: {error}") from error
    assert again.body is not None  # every format that is written holds a body
    mesh = Mesh.of(again.body)
    if len(mesh) != len(draft.faces) or not Shells(mesh, Topology(mesh)).closed.all():
        raise CannotMend(
            "Written in this format the numbers are rounded so that the surface opens; choose another one."
        )
    # Single precision may round each coordinate by half a step.
    step = float(np.abs(draft.vertices).max()) * 2.0**-23
    if np.abs(mesh.vertices[mesh.faces].min((0, 1)) - draft.vertices[draft.faces].min((0, 1))).max() > step or (
        np.abs(mesh.vertices[mesh.faces].max((0, 1)) - draft.vertices[draft.faces].max((0, 1))).max() > step
    ):
        raise CannotMend("The mended file does not have the size of the part.")
