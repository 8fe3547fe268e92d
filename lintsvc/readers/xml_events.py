"""XML as events, with nothing that XML can do harm with: no document type, no entities, bounded depth.

Namespaces are resolved here and not by expat, so that a prefix that nobody declared is a note and
not the end: some programs write such files.
"""

from __future__ import annotations

from collections.abc import Callable
from xml.parsers import expat

from lintsvc.model.part import Unreadable
from lintsvc.readers.content import clean_name

_MAX_DEPTH = 64

#: (namespace, or None where undeclared), local name, attributes by their written names.
Started = Callable[[str | None, str, dict[str, str]], None]
Ended = Callable[[str | None, str], None]


class Events:
    """Feeds the elements of a document to two callbacks. `undeclared`: prefixes that nobody declared."""

    def __init__(self, what: str, started: Started, ended: Ended) -> None:
        self.what = what
        self._started, self._ended = started, ended
        self._scopes: list[tuple[int, dict[str, str], dict[str, tuple[str | None, str]]]] = [(0, {"": ""}, {})]
        self._depth = 0
        self.undeclared: set[str] = set()

    def run(self, data: bytes) -> None:
        """Parse a whole document. Raises Unreadable with the line of what is wrong."""
        parser = expat.ParserCreate()
        self._parser = parser
        parser.buffer_text = True
        parser.SetParamEntityParsing(expat.XML_PARAM_ENTITY_PARSING_NEVER)
        parser.StartDoctypeDeclHandler = self._doctype
        parser.EntityDeclHandler = self._doctype
        parser.StartElementHandler = self._start
        parser.EndElementHandler = self._end
        try:
            parser.Parse(data, True)
        except expat.ExpatError as error:
            why = expat.errors.messages.get(error.code, "") if isinstance(expat.errors.messages, dict) else ""
            where = f"line {error.lineno}"
            raise Unreadable(f"The {self.what} is no sound XML: {why or error}.", where, "Export it again.") from error
        except (ValueError, LookupError) as error:
            raise Unreadable(f"The {self.what} is in an unknown character code.", remedy="Export it again.") from error

    def namespace(self, prefix: str) -> str | None:
        """The namespace of a prefix where the parser stands, None where undeclared."""
        return self._scopes[-1][1].get(prefix)

    def line(self) -> int:
        """Line of the element that is being told."""
        return int(self._parser.CurrentLineNumber)

    def _doctype(self, *_: object) -> None:
        raise Unreadable(
            f"The {self.what} declares a document type or entities, which part files have no use for.",
            f"line {self.line()}",
            "Export it again.",
        )

    def _start(self, name: str, attributes: dict[str, str]) -> None:
        self._depth += 1
        if self._depth > _MAX_DEPTH:
            raise Unreadable(f"The {self.what} is nested deeper than {_MAX_DEPTH} levels.", f"line {self.line()}")
        # One look at all names together: this runs once for every vertex.
        if "xmlns" in "".join(attributes):
            self._declare(attributes)
        self._started(*(self._scopes[-1][2].get(name) or self._resolve(name)), attributes)

    def _declare(self, attributes: dict[str, str]) -> None:
        """Open a scope for the namespaces that an element declares."""
        declared = dict(self._scopes[-1][1])
        for key, value in attributes.items():
            if key == "xmlns" or key.startswith("xmlns:"):
                declared[key[6:]] = value
        self._scopes.append((self._depth, declared, {}))

    def _end(self, name: str) -> None:
        self._ended(*(self._scopes[-1][2].get(name) or self._resolve(name)))
        if self._scopes[-1][0] == self._depth:
            self._scopes.pop()
        self._depth -= 1

    def _resolve(self, name: str) -> tuple[str | None, str]:
        prefix, colon, local = name.partition(":")
        if not colon:
            prefix, local = "", name
        space = self._scopes[-1][1].get(prefix)
        if space is None and prefix != "xml":
            self.undeclared.add(clean_name(prefix))
        found = self._scopes[-1][2][name] = (space, local)
        return found
