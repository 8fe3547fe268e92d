"""Building solids in a process of its own: the kernel is native code, and some damaged files crash it.

A crash then costs one file, which is refused as damaged, and nothing of the process that asked. Where no
process may be started (inside the service's fence, which is one already) or there is no `fork` to start it
quickly, the solids are built in place.
"""

from __future__ import annotations

import io
import pickle
from collections.abc import Callable
from dataclasses import replace
from typing import Any, BinaryIO

from OCP.BinTools import BinTools
from OCP.BRep import BRep_Builder
from OCP.TopAbs import TopAbs_FACE
from OCP.TopoDS import TopoDS_Compound, TopoDS_Iterator, TopoDS_Shape

from lintsvc.child_process import in_a_copy
from lintsvc.model.part import Part, Unreadable
from lintsvc.readers.step_shapes import explored
from lintsvc.readers.step_triangles import ExactBody


def built_apart(build: Callable[[], Part]) -> Part:
    """Return what `build` returns, a part of an exact body, and raise the Unreadable that it raises.

    Raises Unreadable where it crashes.
    """
    answer = in_a_copy(lambda out: _pack(build, out))
    if answer is None:
        return build()
    if answer.status == 0:
        return _unpacked(io.BytesIO(answer.data))
    if answer.status < 0:
        raise Unreadable(
            "The solids of the STEP file cannot be built: building them crashes, so something in it is damaged.",
            f"ended {answer.how}",
            "Export it again, or repair it in the CAD program.",
        )
    raise RuntimeError(answer.data.decode("utf-8", "replace") or "the process that builds solids ended without a word")


def _pack(build: Callable[[], Part], out: BinaryIO) -> None:
    try:
        part = build()
    except Unreadable as error:
        pickle.dump((error.why, error.where, error.remedy), out)
        return
    assert part.body is not None
    together = TopoDS_Compound()
    builder = BRep_Builder()
    builder.MakeCompound(together)
    for solid in part.body.exact.solids if part.body.exact else ():
        builder.Add(together, solid)
    shapes = io.BytesIO()
    BinTools.Write_s(together, shapes)
    named = part.body.exact.named if part.body.exact else ()
    plain = replace(part, body=replace(part.body, exact=None))
    pickle.dump((plain, named), out, protocol=pickle.HIGHEST_PROTOCOL)
    out.write(shapes.getbuffer())


def _unpacked(data: io.BytesIO) -> Part:
    part, named, *more = pickle.load(data)  # noqa: S301 - from the child that this process started
    if not isinstance(part, Part):
        raise Unreadable(part, named, *more)
    together = TopoDS_Shape()
    BinTools.Read_s(together, data)
    solids: list[Any] = []
    every = TopoDS_Iterator(together)
    while every.More():
        solids.append(every.Value())
        every.Next()
    faces = tuple(face for solid in solids for face in explored(solid, TopAbs_FACE))
    assert part.body is not None
    return replace(part, body=replace(part.body, exact=ExactBody(tuple(solids), faces, named)))
