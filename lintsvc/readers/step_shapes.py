"""The shapes of a STEP file: each placed solid with its name, and a count of what was lost on the way."""

from __future__ import annotations

import io
import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from OCP.Bnd import Bnd_Box
from OCP.BRepBndLib import BRepBndLib
from OCP.BRepBuilderAPI import BRepBuilderAPI_Transform
from OCP.collections import (
    IndexedMap_TopoDS_Shape_TopTools_ShapeMapHasher as ShapeMap,
)
from OCP.collections import Sequence_TDF_Label as Labels
from OCP.gp import gp_Pnt, gp_Trsf
from OCP.IFSelect import IFSelect_RetDone
from OCP.Message import Message
from OCP.STEPCAFControl import STEPCAFControl_Reader
from OCP.STEPControl import STEPControl_Reader
from OCP.TCollection import TCollection_ExtendedString
from OCP.TDataStd import TDataStd_Name
from OCP.TDF import TDF_Label
from OCP.TDocStd import TDocStd_Document
from OCP.TopAbs import TopAbs_FACE, TopAbs_SOLID
from OCP.TopExp import TopExp_Explorer
from OCP.TopLoc import TopLoc_Location
from OCP.XCAFDoc import XCAFDoc_DocumentTool, XCAFDoc_ShapeTool

from lintsvc.model.part import ReadNote, Unreadable
from lintsvc.readers.content import clean_name
from lintsvc.readers.step_text import StepText

_MAX_PLACED = 5000
_MAX_PLACED_FACES = 60_000
_MAX_DEPTH = 64
_AGAIN = "Export or download it again."


@dataclass(frozen=True, eq=False)
class Placed:
    """Solids (or loose faces) where they stand, in mm, each with the name of its part."""

    shapes: tuple[Any, ...]
    names: tuple[str, ...]

    def rough_size_mm(self) -> tuple[float, float, float]:
        """Extents of a box around everything, somewhat too large; quick."""
        box = Bnd_Box()
        for shape in self.shapes:
            BRepBndLib.Add_s(shape, box, False)
        if box.IsVoid():
            return 0.0, 0.0, 0.0
        low, high = box.CornerMin(), box.CornerMax()
        return high.X() - low.X(), high.Y() - low.Y(), high.Z() - low.Z()

    def scaled(self, factor: float) -> Placed:
        """Return everything scaled about the origin."""
        move = gp_Trsf()
        move.SetScale(gp_Pnt(0.0, 0.0, 0.0), factor)
        return Placed(tuple(BRepBuilderAPI_Transform(x, move, True).Shape() for x in self.shapes), self.names)


def load(data: bytes, text: StepText, notes: list[ReadNote]) -> Placed:
    """Return the placed solids of a file. Raises Unreadable where solids are lost."""
    # The kernel prints what it thinks to standard output, which carries reports.
    Message.DefaultMessenger_s().ChangePrinters().Clear()
    if text.names_other_files:
        # The reader with names would open the other files; this one does not.
        notes.append(ReadNote("ignored", "The STEP file names other files; they were not opened."))
        found = _without_names(data)
    elif text.solids == 1 and not text.places_parts:
        # Names tell solids apart; reading them takes time.
        found = _without_names(data)
    else:
        found = _with_names(data)
    placed = list(_solids(found, notes))
    if not placed:
        raise Unreadable("No solid could be made of what the STEP file holds.", remedy=_AGAIN)
    result = Placed(tuple(shape for shape, _ in placed), tuple(name for _, name in placed))
    _compare(result, text, notes)
    return result


def _with_names(data: bytes) -> list[tuple[Any, str]]:
    reader = STEPCAFControl_Reader()
    reader.SetNameMode(True)
    for switch in ("Color", "Layer", "Props", "GDT", "Mat", "View", "Meta", "ProductMeta", "SHUO"):
        getattr(reader, f"Set{switch}Mode")(False)
    _read(reader, data)
    document = TDocStd_Document(TCollection_ExtendedString("BinXCAF"))
    if not reader.Transfer(document):
        raise Unreadable("The shapes of the STEP file could not be built.", remedy=_AGAIN)
    tool = XCAFDoc_DocumentTool.ShapeTool_s(document.Main())
    roots = Labels()
    tool.GetFreeShapes(roots)
    found: list[tuple[Any, str]] = []
    for root in _labels(roots):
        _gather(root, TopLoc_Location(), "", 0, found)
    return found


def _without_names(data: bytes) -> list[tuple[Any, str]]:
    reader = STEPControl_Reader()
    _read(reader, data)
    reader.TransferRoots()
    shape = reader.OneShape()
    return [] if shape is None or shape.IsNull() else [(shape, "")]


def _read(reader: Any, data: bytes) -> None:
    # From memory: what was looked at is what is read, and no path leads to other files.
    if reader.ReadStream("part", io.BytesIO(data)) != IFSelect_RetDone:
        raise Unreadable("The STEP file could not be read: it is damaged.", remedy=_AGAIN)


def _labels(sequence: Any) -> list[Any]:
    return [sequence.Value(i) for i in range(1, sequence.Length() + 1)]


def _gather(label: Any, above: Any, name: str, depth: int, found: list[tuple[Any, str]]) -> None:
    """Walk an assembly down to its simple shapes, each moved to where it stands."""
    if depth > _MAX_DEPTH:
        raise Unreadable("The assembly of the STEP file is nested too deep.", remedy="Export fewer levels.")
    target, here = label, above
    referred = TDF_Label()
    if XCAFDoc_ShapeTool.GetReferredShape_s(label, referred):
        here = above.Multiplied(XCAFDoc_ShapeTool.GetLocation_s(label))
        target = referred
    own = _name(target) or _name(label) or name
    if XCAFDoc_ShapeTool.IsAssembly_s(target):
        components = Labels()
        XCAFDoc_ShapeTool.GetComponents_s(target, components)
        for component in _labels(components):
            _gather(component, here, own, depth + 1, found)
        return
    shape = XCAFDoc_ShapeTool.GetShape_s(target)
    if shape is not None and not shape.IsNull():
        if len(found) >= _MAX_PLACED:
            raise Unreadable(f"The STEP file places more than {_MAX_PLACED:,} bodies.", remedy="Export fewer bodies.")
        found.append((shape.Located(here.Multiplied(shape.Location())), own))


def _name(label: Any) -> str:
    """The name of a label; names that only the kernel gave are none."""
    attribute = TDataStd_Name()
    if not label.FindAttribute(TDataStd_Name.GetID_s(), attribute):
        return ""
    name = clean_name(attribute.Get().ToExtString())
    return "" if re.fullmatch(r"=>\[[\d:]+\]|SOLID|COMPOUND|SHELL|COMPSOLID", name) else name


def explored(shape: Any, kind: Any, avoid: Any = None) -> Iterator[Any]:
    """Every part of a kind in a shape, one after the other, instances each for themselves."""
    explorer = TopExp_Explorer(shape, kind) if avoid is None else TopExp_Explorer(shape, kind, avoid)
    while explorer.More():
        yield explorer.Current()
        explorer.Next()


def _solids(found: list[tuple[Any, str]], notes: list[ReadNote]) -> Iterator[tuple[Any, str]]:
    """Yield each solid, as it is; then faces that belong to no solid, where there is no solid at all."""
    solids = 0
    for shape, name in found:
        for solid in explored(shape, TopAbs_SOLID):
            solids += 1
            if solids > _MAX_PLACED:
                raise Unreadable(
                    f"The STEP file places more than {_MAX_PLACED:,} bodies.", remedy="Export fewer bodies."
                )
            yield solid, name
    loose = sum(1 for shape, _ in found for _ in explored(shape, TopAbs_FACE, TopAbs_SOLID))
    if not loose:
        return
    if solids:
        text = f"{loose} loose faces beside the solids of the STEP file were left out."
        notes.append(ReadNote("ignored", text, count=loose))
        return
    text = f"The STEP file holds {loose} loose faces and no solid; they were read as an open surface."
    notes.append(ReadNote("recovered", text, count=loose))
    for shape, name in found:
        if any(True for _ in explored(shape, TopAbs_FACE)):
            yield shape, name


def distinct(shapes: tuple[Any, ...], kind: Any) -> int:
    """Number of different parts of a kind, each counted once however often it is placed."""
    found = ShapeMap()
    for shape in shapes:
        for part in explored(shape, kind):
            found.Add(part.Located(TopLoc_Location()))
    return int(found.Extent())


def _compare(placed: Placed, text: StepText, notes: list[ReadNote]) -> None:
    """Hold what was built against what the text defines."""
    solids = distinct(placed.shapes, TopAbs_SOLID)
    if solids < text.solids:
        some = f"{text.solids - solids} of the {text.solids} solids that the STEP file defines"
        which = some if text.solids > 1 else "The solid that the STEP file defines"
        raise Unreadable(f"{which} could not be built: faces of it are missing or damaged.", remedy=_AGAIN)
    faces = distinct(placed.shapes, TopAbs_FACE)
    if text.solids and faces < text.faces:
        lost = text.faces - faces
        notes.append(
            ReadNote(
                "recovered",
                f"{lost} of the {text.faces} faces that the STEP file defines are in no solid, or could not be built.",
                count=lost,
            )
        )
    total = sum(1 for shape in placed.shapes for _ in explored(shape, TopAbs_FACE))
    if total > _MAX_PLACED_FACES:
        raise Unreadable(f"The STEP file places {total:,} faces, too many.", remedy="Export fewer bodies.")
