"""Orders: an order file with its parts, the packet that goes out, 1:1 prints, and what arrived."""

from __future__ import annotations

import hashlib
import json
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import IO, Any

from flask import Blueprint, Response, request, url_for
from sqlalchemy.exc import IntegrityError

from lintsvc.model.choices_words import BadChoice, read_length_mm
from lintsvc.store import claims, keeping, orders
from lintsvc.store.accept import QuotaUsedUp
from lintsvc.store.blobs import CHUNK, file_blob
from lintsvc.store.checks import FileOf
from lintsvc.store.logs import request_id
from lintsvc.store.orders import MADE, PRINT, Order, making_key, place_of
from lintsvc.store.renders import REASON, failed_key
from lintsvc.web.auth import asker
from lintsvc.web.checks_api import WAIT_HEADER, json_answer, refuse_too_large, take_files, time_text
from lintsvc.web.problems import Problem
from lintsvc.web.services import Services, services

api = Blueprint("orders", __name__)

#: A shop.toml may come along; any other file with this ending is the order.
SHOP = "shop.toml"
_LARGEST_ORDER = 2_000_000
_LARGEST_RESULTS = 5_000_000
#: An outline is moved by no more than this.
_MOST_OFFSET_MM = 900.0


@api.post("/orders")
def send() -> Response:
    """Take an order file and the files of its parts, all in the field `file`."""
    who = asker("check")
    here = services()
    refuse_too_large(here)
    sources = keeping.Sources(here.blobs)
    files = take_files(here, who.owner, sources)
    order_files = [x for x in files if x.name.lower().endswith(".toml") and x.name.lower() != SHOP]
    if len(order_files) != 1:
        raise Problem(
            "bad-request", f"send one order file, such as order.toml, with the parts; {len(order_files)} came"
        )
    _refuse_bad_order(here, order_files[0])
    others = [x for x in files if x is not order_files[0]]
    if len({x.name for x in others}) < len(others):
        raise Problem("bad-request", "two files have one name; an order names each file once")
    listed = [FileOf(n, x.name, x.sha256, x.bytes) for n, x in enumerate([order_files[0], *others])]
    try:
        order = orders.create_order(here.db, who.id, listed, sources, here.settings.keep_days, here.quota)
    except QuotaUsedUp as error:
        raise Problem("quota", str(error), headers={"Retry-After": "60"}) from None
    except FileNotFoundError:
        raise Problem("not-found", "a file was purged a moment ago; send it again") from None
    here.caller.order(order.id, "order.json", request_id.get())
    response = json_answer(described(order), 201)
    response.headers["Location"] = url_for("orders.show", order_id=order.id)
    return response


def _refuse_bad_order(here: Services, file: FileOf) -> None:
    """Say at once what is wrong in the order file, each problem with its line. Raises Problem."""
    from lintsvc.order.read import OrderError, parse_order

    if file.bytes > _LARGEST_ORDER:
        raise Problem("too-large", f"an order file is at most {_LARGEST_ORDER // 1_000_000} MB")
    with here.blobs.open(file_blob(file.sha256)) as opened:
        data = opened.read()
    try:
        parse_order(data.decode("utf-8-sig"), file.name)
    except UnicodeDecodeError:
        raise Problem("bad-order", f"{file.name} is no text in UTF-8", problems=[]) from None
    except OrderError as error:
        raise Problem("bad-order", str(error), problems=str(error).splitlines()) from None


def described(order: Order) -> dict[str, Any]:
    """Return an order without what is made of it."""
    at = url_for("orders.show", order_id=order.id)
    return {
        "id": order.id,
        "created": time_text(order.created),
        "expires": time_text(order.expires),
        "files": [{"number": x.number, "name": x.name, "sha256": x.sha256, "bytes": x.bytes} for x in order.files],
        "links": {"self": at, **{name: f"{at}/{name}" for name in MADE}},
    }


def visible_order(order_id: str, scope: str = "read") -> Order:
    """Return an order that the asker may see. Raises Problem."""
    who = asker(scope)
    order = orders.read_order(services().db, order_id) if len(order_id) <= 64 else None
    if order is None or (who.owner is not None and order.owner != who.owner):
        raise Problem("not-found", "there is no order with this id; it may have been deleted or have expired")
    return order


@api.get("/orders")
def listed() -> Response:
    """The asker's orders, newest first, at most 100."""
    who = asker("read")
    return json_answer({"orders": [described(x) for x in orders.list_orders(services().db, who.owner)]})


@api.get("/orders/<order_id>")
def show(order_id: str) -> Response:
    """An order's files, and where to find what is made of it."""
    return json_answer(described(visible_order(order_id)))


@api.delete("/orders/<order_id>")
def remove(order_id: str) -> Response:
    """Delete an order with all that was made of it."""
    here = services()
    orders.delete_order(here.db, here.blobs, visible_order(order_id, "check").id)
    return Response(status=204)


@api.get("/orders/<order_id>/<any(order.json, packet.zip, inspection.pdf, results.csv):name>")
def made(order_id: str, name: str) -> Response:
    """What is made of an order: report and pages as JSON, the packet, inspection sheets, the table of results."""
    return _made(visible_order(order_id), name, MADE[name])


@api.get("/orders/<order_id>/prints/<part>")
def outline(order_id: str, part: str) -> Response:
    """A part's outline as PDF at 1:1. `paper` A4 or Letter, `offset` moves it outwards, `template=1` marks holes."""
    order = visible_order(order_id)
    paper = request.args.get("paper", "A4")
    name = f"print.{part}.{paper}.{_offset_um(request.args.get('offset', ''))}.{int('template' in request.args)}.pdf"
    if not PRINT.match(name):
        raise Problem("bad-request", "a print is of one part's id, on A4 or Letter, moved by at most 900 mm")
    return _made(order, name, "application/pdf")


def _offset_um(text: str) -> int:
    text = text.strip()
    try:
        if not text or float(text.rstrip("m ") or 1) == 0:
            return 0
    except ValueError:
        pass  # a unit that is read below
    try:
        offset = read_length_mm(text.lstrip("+-"), "offset")
    except BadChoice as error:
        raise Problem("bad-choice", str(error), choice="offset") from None
    if offset > _MOST_OFFSET_MM:
        raise Problem("bad-choice", f"an outline is moved by at most {_MOST_OFFSET_MM:g} mm", choice="offset")
    return round((-1 if text.startswith("-") else 1) * offset * 1000)


@api.post("/orders/<order_id>/arrivals")
def arrive(order_id: str) -> Response:
    """Take a filled-in table of results: CSV as the body, or as the file `results` of a form."""
    order = visible_order(order_id, "check")
    here = services()
    sent = request.files.get("results")
    data = sent.stream.read(_LARGEST_RESULTS + 1) if sent is not None else request.get_data(cache=False)
    if not data or len(data) > _LARGEST_RESULTS:
        raise Problem("bad-request", f"send the table of results as CSV, at most {_LARGEST_RESULTS // 1_000_000} MB")
    arrival = hashlib.sha256(data).hexdigest()[:16]
    name = f"arrival.{arrival}.csv"
    if keeping.find_artefact(here.db, place_of(order.id), name) is None:
        with tempfile.TemporaryDirectory(dir=here.settings.incoming) as scratch:
            artefact = keeping.make_artefact(here.blobs, name, data, Path(scratch))
            try:
                with here.db.writing() as connection:
                    claims.add_artefacts(connection, place_of(order.id), [artefact])
            except IntegrityError:
                keeping.drop_made(here.blobs, [artefact])  # the same table came twice in one instant
    here.caller.order(order.id, f"arrival.{arrival}.json", request_id.get())
    at = url_for("orders.arrival", order_id=order.id, arrival=arrival)
    response = json_answer({"id": arrival, "links": {"self": at}}, 201)
    response.headers["Location"] = at
    return response


@api.get("/orders/<order_id>/arrivals/<arrival>")
def arrival(order_id: str, arrival: str) -> Response:
    """What became of the pieces: accept, rework, ask or reject; and the shop.toml with what was learnt."""
    order = visible_order(order_id)
    name = f"arrival.{arrival}.csv"
    if not orders.ARRIVAL.match(name) or keeping.find_artefact(services().db, place_of(order.id), name) is None:
        raise Problem("not-found", "no such results were sent for this order")
    return _made(order, f"arrival.{arrival}.json", "application/json")


def _made(order: Order, name: str, media: str) -> Response:
    """Return what was made, or ask a worker to make it and say so."""
    here = services()
    place = place_of(order.id)
    # Whatever stops one of what is made at once stops all of it, and is told under the first's name.
    told = "order.json" if name in MADE else name
    why = keeping.find_artefact(here.db, place, told + REASON) or keeping.find_artefact(here.db, place, name + REASON)
    if why is not None:
        with keeping.open_artefact(here.blobs, why) as file:
            raise Problem("not-made", file.read().decode("utf-8", "replace"))
    found = keeping.find_artefact(here.db, place, name)
    if found is None:
        if failed := here.redis.get(failed_key(place, told)):
            left = here.redis.ttl(failed_key(place, told))
            raise Problem("failed", str(failed), headers={"Retry-After": str(max(1, int(str(left))))})
        return _later(here, order, name, told)
    response = Response(_chunks(keeping.open_artefact(here.blobs, found)), content_type=media)
    response.headers["Content-Length"] = str(found.size)
    response.headers["Cache-Control"] = "private, no-cache"
    # A place and a name are written once and never changed, and the place is a random id.
    response.set_etag(hashlib.sha256(f"{place}/{name}".encode()).hexdigest()[:32])
    if media != "application/json":
        response.headers["Content-Disposition"] = f'attachment; filename="{name}"'
    response.make_conditional(request)
    return response


def _later(here: Services, order: Order, name: str, told: str) -> Response:
    going = here.redis.get(making_key(order.id, told))
    progress = json.loads(str(going)) if going else {}
    # Asked for twice within a few seconds: the first call is still under way.
    if not going and here.redis.set(f"lintsvc:asked:{order.id}:{told}", 1, nx=True, ex=10):
        here.caller.order(order.id, name, request_id.get())
    response = json_answer({"state": "being made", "name": name, **progress}, 202)
    response.headers["Retry-After"] = "1"
    response.headers[WAIT_HEADER] = f"made {order.id}"
    return response


def _chunks(file: IO[bytes]) -> Iterator[bytes]:
    with file:
        while data := file.read(CHUNK):
            yield data
