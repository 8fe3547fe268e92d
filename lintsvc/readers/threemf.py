"""3MF: core specification and the production extension's paths. Build items, components, transforms, types."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from lintsvc.model.part import Part, ReadNote, Unreadable
from lintsvc.model.units import Units
from lintsvc.readers.content import clean_name
from lintsvc.readers.doubtful_units import UNIT_NAMES
from lintsvc.readers.format import Format, ReadOptions
from lintsvc.readers.threemf_model import Matrix, Model, Object, Reference
from lintsvc.readers.triangles import MAX_TRIANGLES, Triangles, body_part, too_many
from lintsvc.readers.xml_events import Events
from lintsvc.readers.zip_parts import Package, part_name

_START = "http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"
_RELATIONSHIPS = "http://schemas.openxmlformats.org/package/2006/relationships"
_MAX_DEPTH = 64
_MAX_INSTANCES = 100_000
_MAX_MODELS = 1000


def _claims(head: bytes, size: int) -> bool:
    return head[:4] in (b"PK\x03\x04", b"PK\x05\x06")


def read(path: Path, options: ReadOptions) -> Part:
    """Read a 3MF file. Raises Unreadable."""
    package = Package(path)
    try:
        build = _Build(package, _start_part(package))
        found = build.triangles()
    finally:
        package.close()
    model = build.root
    why = f"the 3MF states {UNIT_NAMES[model.unit]}"
    if not model.unit_stated:
        why = "a 3MF that states no unit is in millimetres (3MF Core 1.4 section 3.4)"
    return body_part(found, "3MF", options, stated=Units(model.unit, True, why), notes=build.notes)


def _start_part(package: Package) -> str:
    """Return the name of the model part that the package says to begin with."""
    if not package.has("_rels/.rels"):
        raise Unreadable(
            "This is a ZIP archive, but no 3MF: it has no relationships.",
            remedy="Unpack it and send the part files themselves.",
        )
    if not package.has("[Content_Types].xml"):
        raise Unreadable(
            "The 3MF package has no [Content_Types].xml, which every package must have.", remedy="Export it again."
        )
    targets = [target for kind, target in _relationships(package, "/_rels/.rels", "/") if kind == _START]
    if targets == [None]:
        raise Unreadable("The 3MF package says that its model lies outside of it; that is not followed.")
    if len(targets) != 1 or targets[0] is None:
        raise Unreadable(
            f"The 3MF package names {len(targets) or 'no'} models to begin with, where one is wanted.",
            remedy="If this is another kind of archive, unpack it and send the part files; else export it again.",
        )
    return targets[0]


def _relationships(package: Package, name: str, base: str) -> list[tuple[str, str | None]]:
    """Return type and target of each relationship; None for a target outside the package, which is never opened."""
    found: list[tuple[str, str | None]] = []

    def started(space: str | None, local: str, attributes: dict[str, str]) -> None:
        if space != _RELATIONSHIPS or local != "Relationship":
            return
        external = attributes.get("TargetMode", "Internal") == "External"
        target = None if external else part_name(attributes.get("Target", ""), base)
        found.append((attributes.get("Type", ""), target))

    Events("list of relationships in the 3MF", started, lambda space, local: None).run(package.read(name))
    return found


class _Build:
    """Resolves build items through components to placed meshes."""

    def __init__(self, package: Package, start: str) -> None:
        self.package, self.start = package, start
        self.models: dict[str, Model] = {}
        self.notes: list[ReadNote] = []
        self.root = self._model(start)
        rels = start.rpartition("/")[0] + "/_rels/" + start.rpartition("/")[2] + ".rels"
        if package.has(rels):
            outside = sum(target is None for _, target in _relationships(package, rels, start))
            if outside:
                # The part can be read without them. The 3MF Consortium's test suite wants such a file refused
                # (MUSTFAIL, chapter 2.1.1): so it is said.
                text = (
                    f"{outside} relationships of the 3MF point outside its package, which the core "
                    "specification forbids; they were not followed. Another program may refuse the file."
                )
                self.notes.append(ReadNote("recovered", text, count=outside))
        if package.climbing:
            text = f"{package.climbing} entries of the package have names that climb out of it; they were left out."
            self.notes.append(ReadNote("ignored", text, count=package.climbing))
        self._sizes: dict[tuple[str, str], tuple[int, int]] = {}
        self._vertices: list[NDArray[np.float64]] = []
        self._faces: list[NDArray[np.int64]] = []
        self._names: list[str] = []
        self._skipped: dict[str, int] = {}
        self._vertex_count = 0

    def triangles(self) -> Triangles:
        items = [(item, *self._find(item, self.start)) for item in self.root.items]
        if not items:
            raise Unreadable("The 3MF builds nothing: it has no items.", remedy="Export the body again.")
        total = instances = 0
        for item, path, target in items:
            more = self._size(path, target, item, ())
            total, instances = total + more[0], instances + more[1]
        if total > MAX_TRIANGLES:
            raise too_many(total)
        if instances > _MAX_INSTANCES:
            raise Unreadable(
                f"The 3MF places {instances:,} bodies; the limit is {_MAX_INSTANCES:,}.", remedy="Export fewer bodies."
            )
        placed: set[tuple[str, str, bytes]] = set()
        for item, path, target in items:
            # The same object in the same place is no second part; thousands of them would only lie on each other.
            where = (path, target.id, b"" if item.transform is None else item.transform.tobytes())
            if where not in placed:
                placed.add(where)
                self._place(path, target, item.transform, target.kind)
        if again := len(items) - len(placed):
            text = f"{again:,} build items of the 3MF put an object where it stands already; each was read once."
            if again == 1:
                text = "A build item of the 3MF puts an object where it stands already; it was read once."
            self.notes.append(ReadNote("recovered", text, count=again))
        self._note_all()
        counts = [len(faces) for faces in self._faces]
        several = len(self._names) > 1
        if not self._faces:
            self._nothing()
        return Triangles(
            np.concatenate(self._vertices),
            np.concatenate(self._faces),
            np.repeat(np.arange(len(counts), dtype=np.int32), counts) if several else None,
            tuple(self._names) if several else (),
        )

    def _model(self, path: str) -> Model:
        if path not in self.models:
            if len(self.models) >= _MAX_MODELS:
                raise Unreadable(f"The 3MF names more than {_MAX_MODELS} models.", remedy="Export fewer bodies.")
            model = Model(self.package.read(path), path)
            self.models[path] = model
            if model.undeclared:
                names = ", ".join(f'"{x}"' for x in model.undeclared[:5])
                self.notes.append(ReadNote("recovered", f"The 3MF uses {names} without saying what it stands for."))
        return self.models[path]

    def _find(self, reference: Reference, path: str) -> tuple[str, Object]:
        if reference.path is not None:
            inside = part_name(reference.path, path)
            if inside is None:
                raise Unreadable("A component of the 3MF lies outside its package; that is not followed.")
            path = inside
        model = self._model(path)
        found = model.objects.get(reference.object_id)
        if found is None:
            raise Unreadable(
                f'The 3MF names object "{clean_name(reference.object_id)}", which it does not hold.',
                f"{path[-60:]} line {reference.line}",
                "Export it again.",
            )
        return path, found

    def _size(
        self, path: str, target: Object, reference: Reference, above: tuple[tuple[str, str], ...]
    ) -> tuple[int, int]:
        """Triangles and placed meshes under an object, each object counted once however often it is placed."""
        key = (path, target.id)
        if key in above or len(above) > _MAX_DEPTH:
            raise Unreadable(
                "The components of the 3MF contain themselves, or are nested too deep.",
                f"{path[-60:]} line {reference.line}",
                "Export it again.",
            )
        if key not in self._sizes:
            triangles, instances = len(target.faces), 1
            for component in target.components:
                below = self._size(*self._find(component, path), component, (*above, key))
                triangles, instances = triangles + below[0], instances + below[1]
            self._sizes[key] = (triangles, instances)
        return self._sizes[key]

    def _place(self, path: str, target: Object, transform: Matrix | None, kind: str) -> None:
        # Support, surfaces and other objects are not printed as a body (3MF Core 1.4 section 4.1).
        own = target.kind if kind == "model" else kind
        for component in target.components:
            below_path, below = self._find(component, path)
            self._place(below_path, below, _chain(component.transform, transform), own)
        if target.beams:
            self._skipped["beams"] = self._skipped.get("beams", 0) + target.beams
        if target.low_resolution:
            self._skipped["low"] = self._skipped.get("low", 0) + 1
        if not len(target.faces):
            return
        if own != "model":
            self._skipped[own] = self._skipped.get(own, 0) + 1
            return
        vertices, faces = target.vertices, target.faces
        if transform is not None:
            with np.errstate(invalid="ignore", over="ignore"):  # too far away is refused when the whole is known
                vertices = vertices @ transform[:3] + transform[3]
            if float(np.linalg.det(transform[:3])) < 0:
                # A mirroring transform turns the outside in: turn the winding back.
                faces = faces[:, ::-1]
        self._vertices.append(vertices)
        self._faces.append(faces + self._vertex_count)
        self._vertex_count += len(vertices)
        self._names.append(target.name)
        if self._vertex_count > 3 * MAX_TRIANGLES:
            raise too_many(self._vertex_count // 3)

    def _note_all(self) -> None:
        names = {"support": "support", "solidsupport": "solid support", "surface": "open surface", "other": "auxiliary"}
        for kind, name in names.items():
            if count := self._skipped.get(kind):
                many = count > 1
                text = f"{count} {name} object{'s' * many} of the 3MF {'are' if many else 'is'} not the part."
                self.notes.append(ReadNote("ignored", text, count=count))
        if count := self._skipped.get("beams"):
            text = f"{count:,} beams of a lattice were left out: the part is checked without them."
            self.notes.append(ReadNote("recovered", text, count=count))
        if self._skipped.get("low"):
            text = "The 3MF holds the exact shape as slices; only its coarse mesh was read."
            self.notes.append(ReadNote("recovered", text))

    def _nothing(self) -> None:
        if self._skipped.get("beams"):
            raise Unreadable(
                f"The 3MF holds only a lattice of {self._skipped['beams']:,} beams and no triangles.",
                remedy="Export the lattice as a mesh.",
            )
        kinds = ", ".join(sorted(self._skipped))
        raise Unreadable(
            f"The 3MF holds only objects that are not the part ({kinds})." if kinds else "The 3MF holds no triangles.",
            remedy="Export the body again.",
        )


def _chain(inner: Matrix | None, outer: Matrix | None) -> Matrix | None:
    """The transform that puts a point by `inner` first, then by `outer`."""
    if inner is None or outer is None:
        return outer if inner is None else inner
    return np.vstack((inner[:3] @ outer[:3], inner[3] @ outer[:3] + outer[3]))


FORMAT = Format("3MF", (".3mf",), _claims, read)
