"""The reference pages of what programs talk to: the JSON report, and the service's API."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

Json = Mapping[str, Any]


def report() -> str:
    """Return the page of the JSON report, from its schema."""
    from lintsvc.reports.json_report import schema

    found = schema()
    text = (
        "# JSON report\n\n`lintsvc check --format json` and the service write it; `lintsvc schema` prints the JSON "
        "Schema that this page is made from. Lengths are mm. A value that is not known is null, or left out where the "
        "table says so. Keys may be added within a version of the schema; none goes or gets another meaning.\n\n"
    )
    text += _object("Report", found)
    for name in sorted(found["$defs"]):
        text += _object(name, found["$defs"][name])
    return text


def api() -> str:
    """Return the page of the HTTP API, from its OpenAPI document."""
    with tempfile.TemporaryDirectory() as folder:
        document = _document(Path(folder))
    text = (
        "# HTTP API\n\nThe service describes itself at `/api/openapi.json` (OpenAPI 3.1); this page is made from it. "
        "Where tokens are needed, send `Authorization: Bearer …`. Errors are problem details (RFC 9457). "
        "`lintsvc.client` speaks it from Python, see [the client](../client.md).\n\n"
    )
    for path, methods in document["paths"].items():
        for method, operation in methods.items():
            text += _operation(method, path, operation)
    text += "## What is sent and answered\n\n"
    schemas = document["components"]["schemas"]
    shown = {"Check", "Problem", "NewShare", "Share"}
    return text + "".join(_object(x, schemas[x], level=3) for x in sorted(shown & schemas.keys()))


def rule_api() -> str:
    """Return the page of what code rules may rely on."""
    from lintsvc.reports.tables import markdown_table
    from lintsvc.rulebook.api import surface
    from lintsvc.rulebook.packs import API_VERSIONS

    text = (
        f"# Rule API, version {API_VERSIONS[-1]}\n\n"
        "What a rule in Python may rely on, see [what stays](../stability.md). Names without a dot are imported from "
        "`lintsvc.rulebook`; `part` is what a rule is given.\n\n"
    )
    rows = [("name", "arguments, or fields", "")]
    rows += [(x.name, ", ".join(x.arguments or x.fields), x.what) for x in surface()]
    return text + markdown_table(rows) + "\n"


def _document(folder: Path) -> Json:
    """Return the document, without a service that runs."""
    from lintsvc.settings import Settings
    from lintsvc.web.app import create_app
    from lintsvc.web.openapi import document
    from lintsvc.web.services import Services

    # Nothing is sent to this queue: the document is made from the routes alone.
    services = Services(Settings(state=folder, redis_url="redis://127.0.0.1:1/0"), tokens_needed=False)
    try:
        return document(create_app(services))
    finally:
        services.close()


def _operation(method: str, path: str, operation: Json) -> str:
    from lintsvc.reports.tables import markdown_table, markdown_text

    text = f"## `{method.upper()} {path}`\n\n{markdown_text(operation['summary'])}\n\n"
    if more := operation.get("description"):
        text += f"{markdown_text(more)}\n\n"
    rows = [("what is sent", "where", "is", "")]
    rows += [
        (x["name"], x["in"], kind_of(x["schema"]), x.get("description", "")) for x in operation.get("parameters", ())
    ]
    for media, content in operation.get("requestBody", {}).get("content", {}).items():
        fields = content["schema"].get("properties")
        rows += [(k, media, kind_of(v), v.get("description", "")) for k, v in (fields or {}).items()]
        rows += [] if fields else [("the body", media, kind_of(content["schema"]), "")]
    text += markdown_table(rows) + "\n\n" if len(rows) > 1 else ""
    return text + "\n".join(f"- {markdown_text(x)}" for x in _answers(operation["responses"])) + "\n\n"


def _answers(responses: Json) -> Iterator[str]:
    for status, answer in responses.items():
        if "$ref" in answer:
            yield "otherwise: a problem"
            continue
        contents = [f"{kind_of(x['schema'])} as {media}" for media, x in answer.get("content", {}).items()]
        yield f"{status}: {', or '.join(contents) or answer['description']}"


def _object(name: str, schema: Json, *, level: int = 2) -> str:
    from lintsvc.reports.tables import markdown_table, markdown_text

    required = set(schema.get("required", ()))
    words = " ".join(str(schema.get("description", "")).split())
    rows = [("key", "is", "")]
    for key, value in schema.get("properties", {}).items():
        there = "" if key in required else "may be left out"
        said = " ".join(str(value.get("description", "")).split())
        rows.append((key, kind_of(value), "; ".join(x for x in (said, there) if x)))
    table = markdown_table(rows) + "\n\n" if len(rows) > 1 else ""
    return f"{'#' * level} {name}\n\n" + (f"{markdown_text(words)}\n\n" if words else "") + table


def kind_of(schema: Json) -> str:
    """Say in words what a JSON Schema takes.

    >>> kind_of({"type": "array", "items": {"type": "number"}}), kind_of({"enum": ["a", "b"]})
    ('list of number', 'a or b')
    """
    if "$ref" in schema:
        return str(schema["$ref"]).rpartition("/")[2]
    if "const" in schema:
        return str(schema["const"])
    if "enum" in schema:
        return " or ".join(str(x) for x in schema["enum"])
    if alternatives := schema.get("anyOf") or schema.get("oneOf"):
        return " or ".join(dict.fromkeys(kind_of(x) for x in alternatives))
    kind = schema.get("type", "anything")
    if isinstance(kind, list):
        return " or ".join(kind_of({**schema, "type": x}) for x in kind)
    if kind == "array":
        if "prefixItems" in schema:
            return f"({', '.join(kind_of(x) for x in schema['prefixItems'])})"
        return f"list of {kind_of(schema.get('items', {}))}"
    named = {"string": "text", "integer": "whole number", "boolean": "true or false"}
    text = named.get(kind, str(kind))
    if schema.get("format") in ("date-time", "binary"):
        text = {"date-time": "time (RFC 3339)", "binary": "bytes"}[schema["format"]]
    if "minimum" in schema and "maximum" in schema:
        text += f", {schema['minimum']} to {schema['maximum']}"
    return text
