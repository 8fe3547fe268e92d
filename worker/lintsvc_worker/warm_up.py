"""A few small parts, checked once in the warm processes, so that no check pays for loading and compiling.

In two steps, because what a process holds is copied, page by page, for every child that it forks: what checks of
meshes and drawings need, and all the rest, which is three times as much: the kernel for solids, and what reports and
pictures are made with.
"""

from __future__ import annotations

import logging
import os
import struct
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import numpy as np

    from lintsvc.model.choices import Choices
    from lintsvc.model.report import PartReport
    from lintsvc.rulebook.rule import Rule

log = logging.getLogger(__name__)

#: Of these, reports and pictures are made.
_RENDERED = ("cube.stl", "plate.dxf")

_CORNERS = [(x, y, z) for x in (0.0, 20.0) for y in (0.0, 20.0) for z in (0.0, 20.0)]
_QUADS = [(0, 1, 3, 2), (4, 6, 7, 5), (0, 4, 5, 1), (2, 3, 7, 6), (0, 2, 6, 4), (1, 5, 7, 3)]


def run(rules: Sequence[Rule]) -> None:
    """Both steps."""
    for_checks(rules)
    for_all_else(rules)


def for_checks(rules: Sequence[Rule]) -> None:
    """Compile the kernels for bodies, and check each of the parts with all rules that apply."""
    from lintsvc.measure.warm import warm
    from lintsvc.reports.json_report import part_to_dict

    # A cube has no thin wall, no hole and no hollow: it runs few of the kernels.
    warm(_made_elsewhere())
    for name, data, choices in _parts():
        with _written(name, data) as path, _tried(name):
            part_to_dict(_checked(path, choices, rules))


def for_all_else(rules: Sequence[Rule]) -> None:
    """Make everything once that can be asked for, of a body and of a flat, check a solid, and load what orders need."""
    import lintsvc.order.check  # noqa: F401
    from lintsvc.model.choices import Choices

    for name, data, choices in _parts():
        if name in _RENDERED:
            with _written(name, data) as path, _tried(name):
                _render(path, _checked(path, choices, rules), choices, rules)
    with _tried("bracket.step"), _written("bracket.step", _step()) as path:
        _checked(path, Choices(), rules)


@contextmanager
def _written(name: str, data: bytes) -> Iterator[Path]:
    """The part as a file in a folder of its own."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / name
        path.write_bytes(data)
        yield path


@contextmanager
def _tried(name: str) -> Iterator[None]:
    """What fails here fails in the child again, and is reported there."""
    try:
        yield
    except Exception:  # the border
        log.exception("warming up with %s failed", name)


def _checked(path: Path, choices: Choices, rules: Sequence[Rule]) -> PartReport:
    from lintsvc.reports.geometry import place_findings, sent_order
    from lintsvc.rulebook.check import check_file

    result = check_file(path, choices, rules, name=path.name)
    if result.checked is not None and result.checked.part.body is not None:
        place_findings(result.report.findings, sent_order(result.checked.part.body))
    for missed in result.report.not_checked:
        if missed.failed:
            log.warning("warming up, %s: %s", missed.rule, missed.why)
    return result.report


def _made_elsewhere() -> tuple[np.ndarray, np.ndarray]:
    """The part for the kernels, made in a process of its own: threads that it starts must not stay in this one."""
    import numpy as np

    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "part.npz"
        pid = os.fork()
        if pid == 0:
            status = 1
            try:
                from lintsvc.measure.warm import example_part

                vertices, faces = example_part()
                np.savez(path, vertices=vertices, faces=faces)
                status = 0
            finally:
                os._exit(status)
        if os.waitstatus_to_exitcode(os.waitpid(pid, 0)[1]) != 0:
            raise RuntimeError("the part for warming up cannot be made")
        with np.load(path) as made:
            return made["vertices"], made["faces"]


def _render(path: Path, report: PartReport, choices: Choices, rules: Sequence[Rule]) -> None:
    from lintsvc.model.choices_words import choices_to_dict
    from lintsvc.model.report import Report
    from lintsvc.reports import json_report
    from lintsvc.store.renders import PICTURES, REPORTS
    from lintsvc_worker import render

    folder = path.parent
    (folder / "report.json").write_text(json_report.dumps(Report((report,))))
    (folder / render.part_file(0)).write_bytes(path.read_bytes())
    for name in (*REPORTS, *PICTURES):
        job = {"name": name, "choices": choices_to_dict(choices), "parts": [(report.file, report.sha256)]}
        with suppress(render.NothingToShow):
            render.make(job, folder, rules)


def _parts() -> Iterator[tuple[str, bytes, Choices]]:
    """A cube in single and in double precision, and a plate with a hole in two formats."""
    from lintsvc.model.choices import Choices

    sheet = Choices(material="steel-mild", thickness_mm=2.0)
    yield "cube.stl", _stl(), Choices()
    yield "cube.obj", _obj(), Choices(units="mm")
    yield "plate.dxf", _dxf(), sheet
    yield "plate.svg", _SVG, sheet


def _step() -> bytes:
    """The demo's bracket, folded, as a solid."""
    from lintsvc.demo import bracket
    from lintsvc.model.choices import Choices
    from lintsvc.reports.folded import folded_bytes
    from lintsvc.rulebook.check import check_file

    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "bracket.dxf"
        bracket.write_bracket(path, faulty=False)
        result = check_file(path, Choices(material=bracket.MATERIAL, thickness_mm=bracket.THICKNESS_MM), ())
        assert result.checked is not None  # our own file
        return folded_bytes(result.checked, "step")


_SVG = b"""<svg xmlns="http://www.w3.org/2000/svg" width="60mm" height="40mm" viewBox="0 0 60 40">
<path d="M0 0H60V40H0Z"/><circle cx="20" cy="20" r="4"/></svg>"""


def _triangles() -> Iterator[tuple[int, int, int]]:
    for a, b, c, d in _QUADS:
        yield a, b, c
        yield a, c, d


def _stl() -> bytes:
    faces = [struct.pack("<12fH", 0, 0, 0, *(x for i in face for x in _CORNERS[i]), 0) for face in _triangles()]
    return b"\0" * 80 + struct.pack("<I", len(faces)) + b"".join(faces)


def _obj() -> bytes:
    lines = [f"v {x} {y} {z}" for x, y, z in _CORNERS]
    lines += ["f " + " ".join(str(i + 1) for i in face) for face in _triangles()]
    return "\n".join(lines).encode() + b"\n"


def _dxf() -> bytes:
    corners = [(0, 0), (60, 0), (60, 40), (0, 40)]
    groups: list[tuple[int, object]] = [
        (0, "SECTION"), (2, "HEADER"), (9, "$ACADVER"), (1, "AC1009"), (9, "$INSUNITS"), (70, 4), (0, "ENDSEC"),
        (0, "SECTION"), (2, "ENTITIES"),
    ]  # fmt: skip
    for (x0, y0), (x1, y1) in zip(corners, corners[1:] + corners[:1], strict=True):
        groups += [(0, "LINE"), (8, "CUT"), (10, x0), (20, y0), (30, 0), (11, x1), (21, y1), (31, 0)]
    groups += [(0, "CIRCLE"), (8, "CUT"), (10, 20), (20, 20), (30, 0), (40, 4)]
    groups += [(0, "ENDSEC"), (0, "EOF")]
    return "".join(f"{code}\n{value}\n" for code, value in groups).encode()
