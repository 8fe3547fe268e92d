"""Building solids in a process of its own: the kernel is native code, and some damaged files crash it.

A crash then costs one file, which is refused as damaged, and nothing of the process that asked. Where no
process may be started (inside the service's fence, which is one already) or there is no `fork` to start it
quickly, the solids are built in place.
"""

from __future__ import annotations

import gc
import io
import os
import pickle
import signal
import sys
from collections.abc import Callable
from contextlib import suppress
from dataclasses import replace
from typing import Any, BinaryIO

from OCP.BinTools import BinTools
from OCP.BRep import BRep_Builder
from OCP.TopAbs import TopAbs_FACE
from OCP.TopoDS import TopoDS_Compound, TopoDS_Iterator, TopoDS_Shape

from lintsvc.child_process import end_with_parent
from lintsvc.model.part import Part, Unreadable
from lintsvc.readers.step_shapes import explored
from lintsvc.readers.step_triangles import ExactBody


def built_apart(build: Callable[[], Part]) -> Part:
    """Return what `build` returns, a part of an exact body, and raise the Unreadable that it raises.

    Raises Unreadable where it crashes.
    """
    if sys.platform != "linux":
        return build()
    read_end, write_end = os.pipe()
    try:
        child = os.fork()
    except OSError:
        os.close(read_end)
        os.close(write_end)
        return build()
    if child == 0:
        _answer(build, write_end)
    os.close(write_end)
    with os.fdopen(read_end, "rb") as answer:
        data = answer.read()
    status = os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
    if status == 0:
        return _unpacked(io.BytesIO(data))
    if status < 0:
        raise Unreadable(
            "The solids of the STEP file cannot be built: building them crashes, so something in it is damaged.",
            f"ended by {signal.Signals(-status).name}",
            "Export it again, or repair it in the CAD program.",
        )
    raise RuntimeError(data.decode("utf-8", "replace") or "the process that builds solids ended without a word")


def _answer(build: Callable[[], Part], write_end: int) -> None:
    """Build in the child, tell, and end it. Never returns."""
    import faulthandler

    status = 1
    try:
        # A crash is told by the parent.
        faulthandler.disable()
        # It ends soon: looking for what can be freed is work for nothing.
        gc.disable()
        end_with_parent()
        with os.fdopen(write_end, "wb") as out, suppress(BrokenPipeError):
            try:
                _pack(build, out)
                status = 0
            except BaseException as error:  # noqa: BLE001 - the border of the process: told to the one that asked
                out.write(f"{type(error).__name__}: {error}".encode())
    finally:
        # Without the parent's clean-up: its buffers and files are not ours.
        os._exit(status)


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
