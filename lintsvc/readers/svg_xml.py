"""SVG as a tree of plain nodes, read so that no file can do harm: no entities, no depth, no flood, nothing fetched."""

from __future__ import annotations

from dataclasses import dataclass, field
from xml.etree.ElementTree import ParseError

from defusedxml import DefusedXmlException
from defusedxml.ElementTree import DefusedXMLParser

from lintsvc.model.part import Unreadable
from lintsvc.readers.content import clean_name

#: Groups in groups, and uses in uses, together.
DEEPEST = 200
MOST_NODES = 400_000
#: Characters in an attribute: beyond the first it is cut off, beyond the second a path is refused.
_LONGEST = 20_000
_LONGEST_PATH = 6 * 2**20
_SVG = "http://www.w3.org/2000/svg"
_XLINK = "http://www.w3.org/1999/xlink"
#: What is drawn, what holds it, and what is noticed; everything else is skipped with all it holds.
_KEPT = frozenset(
    {"svg", "g", "a", "switch", "symbol", "defs", "use", "style"}
    | {"path", "rect", "circle", "ellipse", "line", "polyline", "polygon"}
    | {"text", "tspan", "textPath", "title", "image", "foreignObject", "video", "iframe"}
)


@dataclass(slots=True, eq=False)
class Node:
    """An SVG element. Attribute names without namespace, but for `href` (either kind) and `label`."""

    tag: str
    attributes: dict[str, str]
    children: list[Node] = field(default_factory=list)
    text: str = ""

    def get(self, name: str, default: str = "") -> str:
        """Return an attribute, blanks around it left out."""
        return self.attributes.get(name, default).strip()


class _Builder:
    """Receives the parser's events. Raises Unreadable as soon as there are too many."""

    def __init__(self) -> None:
        self.root: Node | None = None
        self._open: list[Node] = []
        self._skipped = 0
        self._count = 0

    def start(self, tag: str, attributes: dict[str, str]) -> None:
        self._count += 1
        if self._count > MOST_NODES:
            raise Unreadable(f"The SVG has more than {MOST_NODES:,} elements.", remedy="Export the part alone.")
        if len(self._open) + self._skipped >= DEEPEST:
            raise Unreadable(f"The SVG's groups are nested more than {DEEPEST} deep.", remedy="Ungroup the drawing.")
        space, _, name = tag.rpartition("}")
        if self._skipped or space not in ("{" + _SVG, "") or name not in _KEPT:
            self._skipped += 1
            return
        node = Node(name, {_plain(k): _bounded(k, v) for k, v in attributes.items()})
        if self._open:
            self._open[-1].children.append(node)
        elif self.root is None:
            self.root = node
        self._open.append(node)

    def end(self, tag: str) -> None:
        if self._skipped:
            self._skipped -= 1
        else:
            self._open.pop()

    def data(self, text: str) -> None:
        if self._open and not self._skipped and self._open[-1].tag in ("text", "tspan", "textPath", "style", "title"):
            node = self._open[-1]
            # Joined a piece at a time; a text of this length is no label.
            if len(node.text) < 1_000_000:
                node.text += text

    def close(self) -> Node | None:
        return self.root


def tree_of(data: bytes) -> Node:
    """Return the root of an SVG. Raises Unreadable for what is no well-formed or no harmless SVG."""
    parser = DefusedXMLParser(target=_Builder(), forbid_dtd=False, forbid_entities=True, forbid_external=True)
    try:
        parser.feed(data)
        root: Node | None = parser.close()  # type: ignore[assignment]  # what our own builder made
    except DefusedXmlException as error:
        raise Unreadable(
            "The SVG declares entities, which are not read: they can be made to flood memory or fetch other files.",
            remedy="Save it as plain SVG.",
        ) from error
    except ParseError as error:
        line, column = error.position
        reason = clean_name(str(error).split(":")[0])
        where = f"line {line}, column {column}"
        raise Unreadable(f"The SVG is not well-formed XML ({reason}).", where, "Save it again.") from error
    # An unknown or wrong encoding in the XML declaration.
    except (LookupError, ValueError) as error:
        raise Unreadable(
            "The SVG's character encoding is not known or not kept.", remedy="Save it as UTF-8."
        ) from error
    if root is None or root.tag != "svg":
        raise Unreadable("The file holds no SVG drawing.", remedy="Save it as plain SVG.")
    return root


def _bounded(name: str, value: str) -> str:
    if len(value) <= _LONGEST:
        return value
    if name not in ("d", "points"):
        return value[:_LONGEST]
    if len(value) > _LONGEST_PATH:
        raise Unreadable(f"A path has more than {_LONGEST_PATH >> 20} MiB of data.", remedy="Export it more simply.")
    return value


def _plain(name: str) -> str:
    space, _, local = name.rpartition("}")
    if not space or space == "{" + _SVG or space == "{" + _XLINK:
        return local
    # A drawing program's own name of a layer; other foreign attributes must not pass for SVG's.
    return "label" if local == "label" else f"other:{local}"
