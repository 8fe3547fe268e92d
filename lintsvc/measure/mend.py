"""A safe mend: what is surely meant is set right, everything else stays in place, and the account says what was done.

Joined: vertices of open edges a hair apart. Taken out: faces without area, copies of faces. Turned: faces and
shells that face the wrong way. Closed: plain holes. What comes out is checked; a mend that does not end in a
closed, well-turned surface is refused, and nothing is written.
"""

from __future__ import annotations

import os
import shutil
import tempfile
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import IO

import numpy as np

from lintsvc.measure.facets import heights
from lintsvc.measure.mend_draft import Draft
from lintsvc.measure.mend_holes import fill_holes
from lintsvc.measure.mend_steps import drop_spare, flat_faces, join_seams, open_edges, stitch, take_out_flat, turn
from lintsvc.measure.mend_write import SINGLE, STATING, UNITS, WRITERS
from lintsvc.measure.mesh import Mesh
from lintsvc.measure.self_crossing_pair import BACK_TO_BACK
from lintsvc.measure.shells import Shells, beside
from lintsvc.measure.topology import Topology
from lintsvc.model.body import Body
from lintsvc.model.part import Part, Unreadable
from lintsvc.model.units import MM_PER_UNIT
from lintsvc.readers.format import ReadOptions
from lintsvc.readers.read import read_part

#: Faces lower than this share of the part's size are not looked behind.
_HIGH_SHARE = 1e-4
#: About so many faces are looked at, to see whether there is material behind them.
_MOST_LOOKED_AT = 2000


class CannotMend(Exception):
    """The mend was refused and nothing was written. Says why, in plain sentences."""


@dataclass(frozen=True)
class MendAccount:
    """What a mend did. Counts are of vertices, faces, shells and holes; lengths are in `unit`."""

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
    unit: str = "mm"

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
                f"at most {self.furthest_joined:.2g} {self.unit} apart.",
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
                f"({self.area_added:.4g} {self.unit}²).",
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
    doubt = _doubt(draft)
    draft, turned, shells = turn(draft)
    rims = len(draft.faces)
    draft, filled = fill_holes(draft)
    added = len(draft.faces) - rims
    if added:
        doubt = doubt or _doubt(draft)
        # Only now that the surface is closed can a shell be seen to be inside out.
        draft, _, more = turn(draft)
        shells += more
    _check(draft, rims, (*doubt, *filled.left), turned=bool(turned or shells))
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
        volume_after=float(draft.pieces.volume.sum()),
        left=_left(draft),
    )
    return draft, account


def _doubt(draft: Draft) -> tuple[str, ...]:
    """Say why it is not sure which way shells should face."""
    pieces = draft.pieces
    if not (pieces.at_odds & pieces.to_turn).any():
        return ()
    return ("A shell that faces inward goes through another: whether it is to be turned or cut away is not sure.",)


def _check(draft: Draft, rims: int, why: tuple[str, ...], *, turned: bool) -> None:
    """Refuse a result that is not closed, not wound one way, or crossed by what was put in."""
    faults = list(dict.fromkeys(why))
    still = open_edges(draft)
    if still:
        faults.append(f"{_count(still, 'edge')} would still be open.")
    topology, pieces = draft.topology, draft.pieces
    if topology.twisted.any():
        faults.append("The surface is twisted into itself and has no outside.")
    if not still and not pieces.closed.all() and not topology.twisted.any():
        faults.append("At some edges an odd number of faces meets; which of them is one too many is not sure.")
    if len(topology.set_aside) or pieces.against.any() or not len(draft.faces):
        faults.append("What is left would not be a sound surface.")
    if rims < len(draft.faces) and not faults:
        found = draft.contacts
        if not found.complete or (len(found) and int(found.second.max()) >= rims):
            faults.append("A face that would close a hole would cross the body.")
    if turned and not faults and not _solid_behind(draft):
        faults.append(
            "Faces that look opposite ways go through each other; which of them should be turned is not sure."
        )
    if faults:
        raise CannotMend(" ".join(faults))


def _solid_behind(draft: Draft) -> bool:
    """Whether there is material just behind each face, of so many looked at."""
    mesh, pieces = draft.mesh, draft.pieces
    # Behind a face that is hardly higher than the step off it its neighbours are in the way.
    faces = np.flatnonzero((heights(mesh) > _HIGH_SHARE * mesh.size) & mesh.normals.any(axis=1))
    # A face of every shell, and some of all.
    chosen = np.concatenate([pieces.largest[pieces.largest >= 0], faces[:: max(1, len(faces) // _MOST_LOOKED_AT)]])
    chosen = np.intersect1d(chosen, faces)
    points = beside(mesh, chosen, np.full(len(chosen), -1.0))
    return bool((pieces.winding(points) >= 1).all())


def _left(draft: Draft) -> tuple[str, ...]:
    left = []
    flat = len(flat_faces(draft))
    if flat:
        left.append(f"{_count(flat, 'face')} with all corners on one line could not be taken out.")
    if len(draft.topology.crowded):
        left.append("Bodies touch in a line; they were left as they are.")
    found, pieces = draft.contacts, draft.pieces
    if len(found):
        left.append(f"{_count(len(found.faces), 'face')} cross or lie on each other; they were left as they are.")
    through = found.of(found.kind != BACK_TO_BACK)
    nested = pieces.closed & pieces.placed & (pieces.around + pieces.way > 1)
    nested[pieces.label[through.faces]] = False
    if nested.any():
        left.append(
            f"Closed shells that face outward within a body: {int(nested.sum())}. Whether such a shell is a void "
            "turned over or a body too many is not sure; they were left as they are."
        )
    if not (found.complete and pieces.placed.all()):
        left.append("So many faces or shells lie within each other that not all could be looked at.")
    return tuple(left)


def mend_file(in_path: Path, out_path: Path) -> MendAccount:
    """Mend a mesh file into a new file; the format follows the new file's ending: .stl, .obj, .ply, .3mf or .glb.

    Never writes over a file that is there. When there is nothing to mend nothing is written, and the account
    says so by `changed`. Raises CannotMend, and Unreadable for a file that cannot be read.
    """
    ending = out_path.suffix.lower()
    if ending not in WRITERS:
        what = f"{ending} is not written" if ending else "this name has no ending"
        raise CannotMend(f"The new file must end in {', '.join(sorted(WRITERS))}; {what}.")
    if out_path.exists() or out_path.is_symlink():
        raise _there(out_path)
    part, unit = _read(in_path, ending)
    body = part.body
    if body is None or part.kind != "body" or body.chord_error_mm is not None or body.exact is not None:
        raise CannotMend(
            "Only files of triangles are mended (STL, OBJ, PLY, 3MF, glTF); mend this one where it was drawn."
        )
    draft, account = mend_body(body)
    if account.changed:
        _write(draft, body, out_path, unit)
    noticed = tuple(x.text for x in part.notes if x.kind == "ignored")
    return replace(account, left=(*account.left, *noticed), unit=unit)


def _there(path: Path) -> CannotMend:
    return CannotMend(f"{path.name} is there already; a mend never writes over a file.")


def _read(path: Path, ending: str) -> tuple[Part, str]:
    """Read a file, and the unit that its numbers come in.

    Its numbers come out as they went in where the new file can state their unit, or the old one states none.
    """
    part = read_part(path, ReadOptions(path.name, ""))
    unit = part.units.value if part.units.value in UNITS else "mm"
    if part.units.stated and ending not in STATING:
        unit = "mm"
    if unit != "mm":
        part = read_part(path, ReadOptions(path.name, "", units="mm"))
    return part, unit


def _write(draft: Draft, body: Body, out_path: Path, unit: str) -> None:
    """Write beside the target, read it back, compare, and only then give it its name."""
    ending = out_path.suffix.lower()
    # Formats with objects write them one after the other.
    order = np.argsort(draft.objects, kind="stable")
    draft = replace(draft, faces=draft.faces[order], objects=draft.objects[order])
    handle, name = tempfile.mkstemp(prefix=".mend-", suffix=ending, dir=out_path.parent)
    os.close(handle)
    beside = Path(name)
    try:
        WRITERS[ending](beside, draft, body.object_names, body.single_precision, unit)
        single = ending in SINGLE or (ending == ".ply" and body.single_precision)
        _compare(beside, draft, single, unit)
        try:
            # Fails where a file has come up meanwhile; a rename would write over it.
            with beside.open("rb") as source, out_path.open("xb") as target:
                _copy(source, target, out_path)
        except FileExistsError:
            raise _there(out_path) from None
    finally:
        beside.unlink(missing_ok=True)


def _copy(source: IO[bytes], target: IO[bytes], path: Path) -> None:
    """Copy all, or leave nothing behind."""
    try:
        shutil.copyfileobj(source, target)
    except OSError:
        path.unlink()
        raise


def _compare(path: Path, draft: Draft, single: bool, unit: str) -> None:
    """Check that what was written is what was mended, corner for corner. Raises CannotMend.

    `single`: the format rounds to single precision.
    """
    stated = path.suffix in STATING
    scale = MM_PER_UNIT[unit] if stated else 1.0
    try:
        again = read_part(path, ReadOptions(path.name, "", units=None if stated else "mm"))
    except Unreadable as error:
        raise CannotMend(f"The mended file could not be read back: {error}") from error
    assert again.body is not None  # every format that is written holds a body
    mesh = Mesh.of(again.body)
    if len(mesh) != len(draft.faces) or not Shells(mesh, Topology(mesh)).closed.all():
        raise CannotMend(
            "Written in this format the numbers are rounded so that the surface opens; choose another one."
        )
    wanted = draft.vertices.astype(np.float32).astype(np.float64) if single else draft.vertices
    found = again.body.vertices[again.body.faces].astype(np.float64) / scale
    # Nothing but the noise of that scale.
    if np.abs(found - wanted[draft.faces]).max() > np.abs(wanted).max() * 2.0**-48:
        raise CannotMend("The mended file does not hold the places of the part.")
