"""The numbers of a glTF: buffers, views and accessors, every length held against the bytes that are there."""

from __future__ import annotations

import base64
import binascii
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lintsvc.model.part import Unreadable
from lintsvc.readers.triangles import MAX_TRIANGLES, too_many

_COMPONENTS = {5120: "<i1", 5121: "<u1", 5122: "<i2", 5123: "<u2", 5125: "<u4", 5126: "<f4"}
_WIDTHS = {"SCALAR": 1, "VEC3": 3}


def damaged(what: str) -> Unreadable:
    """The error for JSON that breaks the rules of glTF."""
    return Unreadable(f"The glTF is damaged: {what}.", remedy="Export it again.")


def listed(owner: dict[str, Any], key: str) -> list[Any]:
    """Return a list of the JSON, empty where there is none. Raises Unreadable for anything else."""
    found = owner.get(key, [])
    if not isinstance(found, list):
        raise damaged(f"{key} is no list")
    return found


def number(value: Any, what: str, below: int) -> int:
    """Return a whole number from 0 and below a bound. Raises Unreadable for anything else."""
    if type(value) is not int or not 0 <= value < below:
        raise damaged(f"{what} is not a number from 0 to {below - 1}")
    return value


class Buffers:
    """Buffers of one file. Nothing outside the file is ever opened."""

    def __init__(self, root: dict[str, Any], binary: bytes | None) -> None:
        self.buffers, self.views = listed(root, "buffers"), listed(root, "bufferViews")
        self.accessors = listed(root, "accessors")
        self.binary = binary
        self._loaded: dict[int, bytes] = {}

    def accessor(self, index: Any, kind: str) -> NDArray[Any]:
        """Return (count, width) numbers; normalized integers come as float64. Raises Unreadable."""
        accessor = self.accessors[number(index, "an accessor", len(self.accessors))]
        if not isinstance(accessor, dict) or accessor.get("type") != kind:
            raise damaged(f"accessor {index} is no {kind}")
        component = _COMPONENTS.get(_key(accessor.get("componentType")))
        if component is None:
            raise damaged(f"accessor {index} has an unknown component type")
        count = accessor.get("count")
        if type(count) is not int or count < 1:
            raise damaged(f"accessor {index} has no count")
        if count > 3 * MAX_TRIANGLES:
            raise too_many(count // 3)
        width = _WIDTHS[kind]
        sparse = accessor.get("sparse")
        if "bufferView" in accessor:
            values = self._strided(accessor, index, component, count, width)
        elif isinstance(sparse, dict):
            values = np.zeros((count, width), component)
        else:
            raise damaged(f"accessor {index} has no data")
        if isinstance(sparse, dict):
            values = self._sparse(sparse, index, values.copy(), component)
        if accessor.get("normalized") is True and values.dtype.kind in "iu":
            # glTF 2.0 section 3.6.2.2: divide by the largest number of the type; signed ones not below -1.
            values = np.maximum(values / float(np.iinfo(values.dtype).max), -1.0)
        return values

    def _strided(self, accessor: dict[str, Any], index: Any, component: str, count: int, width: int) -> NDArray[Any]:
        data, stride = self._view(accessor["bufferView"])
        item = np.dtype(component).itemsize * width
        stride = stride or item
        start = accessor.get("byteOffset", 0)
        if type(start) is not int or start < 0 or stride < item or start + stride * (count - 1) + item > len(data):
            raise Unreadable(
                f"Accessor {index} of the glTF names {count:,} values, more than its {len(data):,} bytes hold.",
                remedy="Export or download it again.",
            )
        return np.ndarray((count, width), component, data, start, (stride, np.dtype(component).itemsize))

    def _sparse(self, sparse: dict[str, Any], index: Any, values: NDArray[Any], component: str) -> NDArray[Any]:
        count = sparse.get("count")
        places, replaced = sparse.get("indices"), sparse.get("values")
        if type(count) is not int or not 1 <= count <= len(values):
            raise damaged(f"accessor {index} has a bad sparse count")
        if not isinstance(places, dict) or not isinstance(replaced, dict):
            raise damaged(f"accessor {index} has bad sparse data")
        kind = _COMPONENTS.get(_key(places.get("componentType")))
        if kind not in ("<u1", "<u2", "<u4") or "bufferView" not in places or "bufferView" not in replaced:
            raise damaged(f"accessor {index} has bad sparse indices")
        at = self._strided(places, index, kind, count, 1).ravel().astype(np.int64)
        if int(at.max()) >= len(values):
            raise damaged(f"accessor {index} has sparse indices out of range")
        values[at] = self._strided(replaced, index, component, count, values.shape[1])
        return values

    def _view(self, index: Any) -> tuple[bytes, int]:
        view = self.views[number(index, "a buffer view", len(self.views))]
        if not isinstance(view, dict):
            raise damaged(f"buffer view {index} is no object")
        data = self._buffer(number(view.get("buffer"), "a view's buffer", len(self.buffers)))
        start, length, stride = (view.get(k, 0) for k in ("byteOffset", "byteLength", "byteStride"))
        if any(type(x) is not int or x < 0 for x in (start, length, stride)) or start + length > len(data):
            raise Unreadable(
                f"Buffer view {index} of the glTF reaches past the end of its buffer.",
                remedy="Export or download it again.",
            )
        return memoryview(data)[start : start + length], stride  # type: ignore[return-value]

    def _buffer(self, index: int) -> bytes:
        if index not in self._loaded:
            buffer = self.buffers[index]
            if not isinstance(buffer, dict):
                raise damaged(f"buffer {index} is no object")
            self._loaded[index] = self._bytes(buffer, index)
        return self._loaded[index]

    def _bytes(self, buffer: dict[str, Any], index: int) -> bytes:
        uri = buffer.get("uri")
        if uri is None:
            if index != 0 or self.binary is None:
                raise damaged(f"buffer {index} has no data")
            return self.binary
        if not isinstance(uri, str) or not uri.startswith("data:"):
            raise Unreadable(
                "The glTF keeps its geometry in another file, which is not opened.",
                f"buffer {index}",
                "Export it as GLB, one file with everything in it.",
            )
        head, comma, payload = uri.partition(",")
        if not comma or not head.endswith(";base64"):
            raise damaged(f"buffer {index} is not base64")
        try:
            return base64.b64decode(payload, validate=True)
        except (binascii.Error, ValueError):
            raise damaged(f"buffer {index} is not base64") from None


def _key(value: Any) -> int:
    return value if type(value) is int else -1
