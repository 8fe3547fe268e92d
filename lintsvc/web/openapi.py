"""The OpenAPI 3.1 document: paths, parameters and words from the app's own routes and docstrings.

What a route takes and gives beside that stands in the tables below, by endpoint. A route that is in
no table fails a test, so that the document cannot fall behind.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Any

from flask import Flask, Response
from werkzeug.routing import Rule

from lintsvc import __version__
from lintsvc.model.choices_words import CHOICE_NAMES
from lintsvc.web.checks_api import json_answer
from lintsvc.web.problems import KINDS, MEDIA_TYPE

Json = dict[str, Any]

PATH = "/api/openapi.json"

_BINARY: Json = {"type": "string", "format": "binary"}
_ID: Json = {"type": "string", "pattern": "^[A-Za-z0-9_-]{1,64}$"}
_NUMBER: Json = {"type": "integer", "minimum": 0, "maximum": 9999}


def _ref(name: str) -> Json:
    return {"$ref": f"#/components/schemas/{name}"}


def _object(properties: Json, required: list[str] | None = None) -> Json:
    return {
        "type": "object",
        "properties": properties,
        "required": sorted(properties if required is None else required),
    }


def _list(of: Json) -> Json:
    return {"type": "array", "items": of}


def _or_null(kind: str, **more: Any) -> Json:
    return {"type": [kind, "null"], **more}


_CHOICE_HELP = {
    "process": "powder-bed or sheet; guessed when not given",
    "material": "a material's id, see /materials",
    "thickness": "of the sheet: 2mm, 0.08in, or a gauge of the material: 16ga",
    "units": "overrides what the file says: mm, in, …",
    "finish": "a plain word",
    "cut": "how a sheet part is cut: laser, water-jet, router or knife; nothing said is taken as laser",
    "quantity": "a whole number",
    "k_factor": "the shop's own, between 0 and 1",
    "bend_radius": "inside radius where bends state none: 3mm",
    "finished_size": "outside size after bending: 40x30x12mm",
    "lines": "what lines are for: layer:FOLD=bend up; colour:red=engrave; or a JSON list",
    "bends": "bends by place: at 10,20 up 90 R2mm; or a JSON list",
    "threads": "holes to be tapped: M4 at 10,20; or a JSON list",
    "countersinks": "holes to be countersunk: M4 at 10,20 up; or a JSON list",
}

_CHANGES_HELP = (
    "JSON: what is changed of the rules for this check, as a lintsvc.toml does: "
    '{"limits": [{"rule", "text"}], "levels": [{"rule", "level"}]}. An entry may have name (of the limit), '
    "source {kind, text}, material, process and place (where it was read). And what sizes of a shop's parts came out "
    'at: "measured": [{"what": hole, bend, length or thickness, "offset", "spread" (mm, or deg), "sizes", "parts"}].'
)
_SEND_BODY: Json = {
    "type": "object",
    "properties": {
        "file": _list(_BINARY),
        "file_sha256": {**_list({"type": "string"}), "description": "files sent before, by hash, instead of again"},
        "file_name": {**_list({"type": "string"}), "description": "their names, in the same order"},
        "changes": {"type": "string", "description": _CHANGES_HELP},
        "upload": {**_list({"type": "string"}), "description": "ids of finished resumable uploads"},
        **{name: {"type": "string", "description": _CHOICE_HELP[name]} for name in CHOICE_NAMES},
    },
}

_REQUEST_BODIES: dict[str, Json] = {
    "checks.send": {"required": True, "content": {"multipart/form-data": {"schema": _SEND_BODY}}},
    "known.files": {
        "required": True,
        "content": {
            "application/x-www-form-urlencoded": {
                "schema": _object({"sha256": _list({"type": "string", "pattern": "^[0-9a-f]{64}$"})})
            }
        },
    },
    "orders.send": {
        "required": True,
        "content": {
            "multipart/form-data": {
                "schema": {
                    "type": "object",
                    "properties": {
                        "file": {**_list(_BINARY), "description": "the order.toml, its parts' files, a shop.toml"},
                        "file_sha256": {
                            **_list({"type": "string"}),
                            "description": "files sent before, by hash, instead of again",
                        },
                        "file_name": {**_list({"type": "string"}), "description": "their names, in the same order"},
                    },
                }
            }
        },
    },
    "orders.arrive": {"required": True, "content": {"text/csv": {"schema": {"type": "string"}}}},
    "shares.make": {
        "content": {
            "application/x-www-form-urlencoded": {
                "schema": _object({"days": {"type": "integer", "minimum": 1, "maximum": 3650}}, [])
            }
        }
    },
    "set_asides.keep": {
        "required": True,
        "content": {
            "application/x-www-form-urlencoded": {
                "schema": _object({"reason": {"type": "string", "minLength": 1, "maxLength": 500}})
            }
        },
    },
    "uploads.add": {"required": True, "content": {"application/offset+octet-stream": {"schema": _BINARY}}},
}


def _header(name: str, words: str, schema: Json | None = None, *, required: bool = False) -> Json:
    return {"name": name, "in": "header", "required": required, "description": words,
            "schema": schema or {"type": "string"}}  # fmt: skip


def _query(name: str, words: str, schema: Json) -> Json:
    return {"name": name, "in": "query", "required": False, "description": words, "schema": schema}


_WAIT = _header("Prefer", "wait=N: answer when the check has ended, or after N seconds (at most 60)")
_SHARE = _query("share", "secret of a share link, instead of a token", {"type": "string"})
_TUS = _header("Tus-Resumable", "version of the protocol", {"const": "1.0.0"}, required=True)
_PARAMETERS: dict[str, list[Json]] = {
    "checks.send": [
        _WAIT,
        _header("Idempotency-Key", "the same key and request again give the same check",
                {"type": "string", "pattern": "^[!-~]{1,255}$"}),
    ],
    "checks.show": [_WAIT, _SHARE],
    "checks.listed": [
        _query("limit", "how many", {"type": "integer", "minimum": 1, "maximum": 100, "default": 20}),
        _query("after", "from the link to the next page", {"type": "string"}),
    ],
    "files.report_json": [_SHARE],
    "files.report_other": [_SHARE],
    "files.highlights": [_SHARE, _query("file", "which file, from 0", _NUMBER)],
    "files.geometry": [_SHARE],
    "files.widths": [_SHARE],
    "files.lists": [_SHARE],
    "files.folded": [_SHARE],
    "files.folded_file": [_SHARE, _query("file", "which file, from 0", _NUMBER)],
    "files.placed_findings": [_SHARE],
    "files.picture": [_SHARE],
    "files.pictures": [_SHARE],
    "files.materials": [_SHARE, _query("from", "the piece's first row: `next` of the one before", _NUMBER)],
    "files.versions": [
        _query("old", "id of the check with the earlier version", _ID),
        _query("old_file", "which file of it, from 0", _NUMBER),
    ],
    "orders.outline": [
        _query("paper", "what it is printed on", {"enum": ["A4", "Letter"], "default": "A4"}),
        _query("offset", "moves the outline outwards, or inwards with a minus: 0.5mm", {"type": "string"}),
        _query("template", "given: crosses at the middles of holes, for drilling", {"type": "string"}),
    ],
    "uploads.create": [
        _TUS,
        _header("Upload-Length", "size of the file, bytes", {"type": "integer", "minimum": 0}, required=True),
        _header("Upload-Metadata", "filename and its value in base64"),
    ],
    "uploads.add": [_TUS, _header("Upload-Offset", "where the piece begins", {"type": "integer", "minimum": 0},
                                  required=True)],
}  # fmt: skip

_JSON, _PLAIN = "application/json", "application/octet-stream"
#: Endpoint to success status and, by media type, schema. None: no body.
_ANSWERS: dict[str, tuple[int, dict[str, Json] | None]] = {
    "checks.send": (202, {_JSON: _ref("Check")}),
    "checks.show": (200, {_JSON: _ref("Check")}),
    "checks.listed": (200, {_JSON: _object({"checks": _list(_ref("Check")), "next": _or_null("string")})}),
    "checks.cancel": (202, {_JSON: _ref("Check")}),
    "checks.remove": (204, None),
    "files.report_json": (200, {_JSON: _ref("Report")}),
    "files.report_other": (
        200,
        {"application/sarif+json": {"type": "object"}, "application/xml": {"type": "string"},
         "text/html": {"type": "string"}, "application/pdf": _BINARY},
    ),
    "files.highlights": (
        200, {"model/gltf-binary": _BINARY, "image/svg+xml": {"type": "string"}, "image/vnd.dxf": {"type": "string"}}
    ),
    "files.geometry": (200, {"application/vnd.lintsvc.body": _BINARY, _JSON: {"type": "object"}}),
    "files.widths": (200, {"application/vnd.lintsvc.widths": _BINARY}),
    "files.lists": (200, {_JSON: {"type": "object"}}),
    "files.folded": (200, {_JSON: {"type": "object"}}),
    "files.folded_file": (200, {"model/gltf-binary": _BINARY, "model/step": _BINARY}),
    "files.picture": (200, {"image/svg+xml": {"type": "string"}}),
    "files.pictures": (
        200,
        {_JSON: _object({"whole": _or_null("string"),
                         "close": {"type": "object", "additionalProperties": {"type": "string"}}})},
    ),
    "files.materials": (200, {_JSON: {"type": "object"}}),
    "files.versions": (200, {_JSON: {"type": "object"}}),
    "set_asides.keep": (200, {_JSON: _object({"set_aside": {"type": "string"}})}),
    "set_asides.take_back": (204, None),
    "known.files": (200, {_JSON: _object({"known": _list({"type": "string"})})}),
    "files.placed_findings": (200, {_JSON: _object({"findings": _list({"type": "object"})})}),
    "catalogue.processes": (200, {_JSON: _object({"processes": _list({"type": "object"})})}),
    "catalogue.materials": (200, {_JSON: _object({"materials": _list({"type": "object"})})}),
    "catalogue.rules": (
        200, {_JSON: _object({"version": {"type": "string"}, "packs": _list({"type": "object"}),
                              "left_out": _list(_object({"name": {"type": "string"}, "why": {"type": "string"}})),
                              "rules": _list({"type": "object"})})}
    ),
    "uploads.abilities": (204, None),
    "uploads.create": (201, None),
    "uploads.look": (200, None),
    "uploads.add": (204, None),
    "uploads.drop": (204, None),
    "orders.send": (201, {_JSON: _ref("Order")}),
    "orders.listed": (200, {_JSON: _object({"orders": _list(_ref("Order"))})}),
    "orders.show": (200, {_JSON: _ref("Order")}),
    "orders.remove": (204, None),
    "orders.made": (
        200, {_JSON: {"type": "object"}, "application/zip": _BINARY, "application/pdf": _BINARY,
              "text/csv": {"type": "string"}}
    ),
    "orders.outline": (200, {"application/pdf": _BINARY}),
    "orders.arrive": (201, {_JSON: _object({"id": {"type": "string"},
                                            "links": {"type": "object", "additionalProperties": {"type": "string"}}})}),
    "orders.arrival": (200, {_JSON: {"type": "object"}}),
    "shares.make": (201, {_JSON: _ref("NewShare")}),
    "shares.listed": (200, {_JSON: _object({"shares": _list(_ref("Share"))})}),
    "shares.revoke": (204, None),
}  # fmt: skip

_EVENTS: Json = {
    "get": {
        "operationId": "checks.events",
        "summary": "Events of a check as they come, resumed after Last-Event-ID.",
        "description": "Events: state, step, file, finding, made. The stream ends when the check has ended.",
        "parameters": [
            {"name": "check_id", "in": "path", "required": True, "schema": _ID},
            _header("Last-Event-ID", "the last event that came"),
            _SHARE,
        ],
        "responses": {
            "200": {"description": "the stream", "content": {"text/event-stream": {"schema": {"type": "string"}}}},
            "204": {"description": "nothing more will come"},
            "default": {"$ref": "#/components/responses/Problem"},
        },
    }
}


def _schemas() -> Json:
    from lintsvc.reports.json_report import schema

    report = schema()
    definitions = report.pop("$defs")
    text = {"type": "string"}
    share = {"id": text, "created": text, "expires": _or_null("string")}
    check_file = _object({"number": _NUMBER, "name": text, "sha256": text, "bytes": {"type": "integer"}})
    check = _object(
        {
            "id": _ID,
            "state": {"enum": ["queued", "running", "done", "failed", "cancelled"]},
            "step": _or_null("string"),
            "percent": {"type": "number", "minimum": 0, "maximum": 100},
            "created": {"type": "string", "format": "date-time"},
            "finished": _or_null("string", format="date-time"),
            "files": _list(check_file),
            "choices": {"type": "object", "additionalProperties": {"type": "string"}},
            "summary": _or_null("object", additionalProperties={"type": "integer"}),
            "problem": _or_null("string"),
            "report": {"anyOf": [_ref("Report"), {"type": "null"}]},
            "links": {"type": "object", "additionalProperties": {"type": "string"}},
        }
    )
    problem = {
        **_object({"type": text, "title": text, "status": {"type": "integer"}, "detail": text}),
        "description": "RFC 9457. Types: " + ", ".join(f"urn:lintsvc:problem:{x}" for x in KINDS),
    }
    moved = {key: _moved(value) for key, value in definitions.items()}
    return {
        **moved,
        "Report": _moved({key: value for key, value in report.items() if not key.startswith("$")}),
        "Check": check,
        "Order": _object(
            {
                "id": _ID,
                "created": {"type": "string", "format": "date-time"},
                "expires": {"type": "string", "format": "date-time"},
                "files": _list(check_file),
                "links": {"type": "object", "additionalProperties": {"type": "string"}},
            }
        ),
        "Problem": problem,
        "Share": _object(share),
        "NewShare": _object({**share, "secret": text, "link": text}),
    }


def _moved(schema: Any) -> Any:
    """The same schema, its references pointing to where the document keeps them."""
    if isinstance(schema, dict):
        return {
            key: value.replace("#/$defs/", "#/components/schemas/") if key == "$ref" else _moved(value)
            for key, value in schema.items()
        }
    return [_moved(x) for x in schema] if isinstance(schema, list) else schema


def document(app: Flask) -> Json:
    """Return the document for the app's routes under /api/v1."""
    paths: Json = {}
    for rule in app.url_map.iter_rules():
        if not rule.rule.startswith("/api/v1/"):
            continue
        for path, fixed in _paths(rule):
            for method in sorted((rule.methods or set()) - {"HEAD", "OPTIONS"} or {min(rule.methods or {"GET"})}):
                paths.setdefault(path, {})[method.lower()] = _operation(app, rule, fixed)
    paths["/api/v1/checks/{check_id}/events"] = _EVENTS
    return {
        "openapi": "3.1.0",
        "info": {
            "title": "lintsvc",
            "version": __version__,
            "description": "Checks part files before they are sent out to be made. Lengths in mm.",
        },
        "paths": dict(sorted(paths.items())),
        "components": {
            "schemas": _schemas(),
            "responses": {
                "Problem": {"description": "what went wrong", "content": {MEDIA_TYPE: {"schema": _ref("Problem")}}}
            },
            "securitySchemes": {"token": {"type": "http", "scheme": "bearer"}},
        },
        # A service on loopback needs no token.
        "security": [{"token": []}, {}],
    }


def _paths(rule: Rule) -> list[tuple[str, dict[str, str]]]:
    """Return the rule's path; one for each word where it names a choice of words, as in report.<any(…):kind>."""
    pieces = rule.rule.replace("<", "\0<").replace(">", ">\0").split("\0")
    found: list[tuple[str, dict[str, str]]] = [("", {})]
    for piece in pieces:
        if not piece.startswith("<"):
            found = [(path + piece, fixed) for path, fixed in found]
            continue
        converter, _, name = piece[1:-1].rpartition(":")
        if converter.startswith("any("):
            words = [x.strip() for x in converter[4:-1].split(",")]
            found = [(path + word, {**fixed, name: word}) for path, fixed in found for word in words]
        else:
            found = [(path + "{" + name + "}", fixed) for path, fixed in found]
    return found


def _operation(app: Flask, rule: Rule, fixed: dict[str, str]) -> Json:
    endpoint = rule.endpoint
    status, contents = _ANSWERS[endpoint]
    words = (app.view_functions[endpoint].__doc__ or "").strip()
    success: Json = {"description": "it is so"}
    if contents is not None:
        success["content"] = {media: {"schema": schema} for media, schema in contents.items()}
    responses: Json = {str(status): success, "default": {"$ref": "#/components/responses/Problem"}}
    if endpoint == "checks.send":
        responses["200"] = {**success, "description": "with Prefer: wait, and ended in time"}
    on_demand = ("orders.made", "orders.outline", "orders.arrival")
    if (endpoint.startswith("files.") and endpoint != "files.report_json") or endpoint in on_demand:
        responses["202"] = {"description": "it is being made; ask again"}
    names = [x for x in rule.arguments if x not in fixed]
    path = [
        {"name": x, "in": "path", "required": True, "schema": _NUMBER if x == "number" else _ID} for x in sorted(names)
    ]
    operation: Json = {
        "operationId": ".".join([endpoint, *fixed.values()]),
        "summary": words.splitlines()[0] if words else "",
        "parameters": path + _PARAMETERS.get(endpoint, []),
        "responses": responses,
    }
    if endpoint in _REQUEST_BODIES:
        operation["requestBody"] = _REQUEST_BODIES[endpoint]
    return operation


def describe(app: Flask) -> None:
    """Serve the document."""

    @lru_cache(maxsize=1)
    def made() -> Json:
        return document(app)

    @app.get(PATH, endpoint="openapi")
    def _document() -> Response:
        return json_answer(made())
