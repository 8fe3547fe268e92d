"""Writing the fixtures of rules: part files and the cases.toml beside them."""

from __future__ import annotations

import json
import shutil
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from parts.flatfiles import circle, dxf, line, polyline

Point = tuple[float, float]


class Flat:
    """A flat in the making."""

    def __init__(self, *outline: Point) -> None:
        self._drawn = [polyline(outline, layer="CUT")]

    def hole(self, x: float, y: float, diameter: float, layer: str = "CUT") -> Flat:
        self._drawn.append(circle(x, y, diameter / 2, layer=layer))
        return self

    def cutout(self, *corners: Point) -> Flat:
        self._drawn.append(polyline(corners, layer="CUT"))
        return self

    def bend(self, start: Point, end: Point, layer: str = "BEND_UP_90_R4") -> Flat:
        self._drawn.append(line(start, end, layer=layer))
        return self

    def text(self) -> str:
        return dxf("".join(self._drawn))


def rectangle(width: float, height: float) -> Flat:
    """A plate with a corner at the origin."""
    return Flat((0, 0), (width, 0), (width, height), (0, height))


class Folder:
    """The fixtures of one rule, written when `close` is called."""

    def __init__(self, root: Path, rule: str, **common: Any) -> None:
        self._folder = root / rule.replace("-", "_")
        self._common = common
        self._cases: list[dict[str, Any]] = []
        shutil.rmtree(self._folder, ignore_errors=True)
        self._folder.mkdir(parents=True)

    def case(self, name: str, flat: Flat, finds: Sequence[dict[str, Any]] = (), **choices: Any) -> None:
        """Add a file and what is found in it. `choices` go over those that all cases of the rule share."""
        self.file(f"{name}.dxf", flat.text().encode(), finds, **choices)

    def file(self, name: str, data: bytes, finds: Sequence[dict[str, Any]] = (), **choices: Any) -> None:
        """Add a file of any format and what is found in it."""
        if not (self._folder / name).exists():
            (self._folder / name).write_bytes(data)
        self._cases.append({"file": name, **self._common, **choices, "finds": list(finds)})

    def close(self) -> None:
        lines = []
        for case in self._cases:
            lines.append("[[case]]")
            lines += [f"{key} = {_toml(value)}" for key, value in case.items()]
            lines.append("")
        (self._folder / "cases.toml").write_text("\n".join(lines).rstrip() + "\n", "utf-8")


def _toml(value: Any) -> str:
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{key} = {_toml(x)}" for key, x in value.items()) + " }"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(_toml(x) for x in value) + "]"
    # Texts, numbers and booleans are written alike in JSON.
    return json.dumps(value, ensure_ascii=False)


def at(x: float, y: float, within: float = 0.1, **more: Any) -> dict[str, Any]:
    """One expected finding."""
    return {"at": [round(x, 4), round(y, 4), 0.0], "within": within, **more}
