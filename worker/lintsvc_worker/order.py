"""What is made of an order, in the fenced child: everything at once, a 1:1 print, what became of an arrival."""

from __future__ import annotations

import io
import json
import shutil
import zipfile
from collections.abc import Callable, Iterable
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path, PurePosixPath
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from lintsvc.model.report import PartReport
    from lintsvc.order.checked import CheckedOrder
    from lintsvc.order.file import OrderFile
    from lintsvc.packet.drawn import Drawn
    from lintsvc.rulebook.check import Result
    from lintsvc.rulebook.rule import Rule

Step = Callable[[str, float], None]
RESULTS = "results"
#: Share of the progress that the parts have; the rest is the order as a whole, and the packet.
_PARTS_PERCENT = 50.0


class CannotMake(Exception):
    """The order gives no such thing. Says why, in words for whoever sent it."""


def order_file(number: int) -> str:
    """Name of an order's file in the scratch folder."""
    return f"order-{number}"


def make(job: dict[str, Any], scratch: Path, rules: Iterable[Rule], step: Step) -> bytes:
    """Return the bytes of `job["name"]`. Raises CannotMake."""
    from lintsvc.order.read import OrderError

    try:
        path = _lay_out(job["files"], scratch)
        match job["what"]:
            case "all":
                return _all(path, job, rules, step)
            case "print":
                return _print(path, job, step)
            case _:
                return _arrival(path, job, (scratch / RESULTS).read_bytes(), step)
    except OrderError as error:
        raise CannotMake(str(error)) from None


def _lay_out(names: list[str], scratch: Path) -> Path:
    """Put the files where the order looks for them; return the order file's path. Raises CannotMake, OrderError."""
    from lintsvc.order.read import parse_order

    folder = scratch / "order"
    folder.mkdir()
    sent = {name: scratch / order_file(number) for number, name in enumerate(names)}
    path = folder / "order.toml"
    shutil.copyfile(scratch / order_file(0), path)
    order = parse_order(path.read_text("utf-8", "replace"), names[0])
    for wanted in _named(order):
        place = PurePosixPath(wanted.replace("\\", "/"))
        if place.is_absolute() or ".." in place.parts or not place.name:
            raise CannotMake(f"{names[0]}: {wanted!r} is no place beside the order file")
        # Uploads come without their folders.
        if place.name in sent:
            target = folder / place
            target.parent.mkdir(parents=True, exist_ok=True)
            if not target.exists():
                shutil.copyfile(sent[place.name], target)
    return path


def _named(order: OrderFile) -> list[str]:
    files = [x.file for x in order.part] + [x.file for x in order.bought if x.file]
    return [*files, *([order.order.shop] if order.order.shop else [])]


def _load(path: Path, rules: Iterable[Rule], step: Step) -> tuple[CheckedOrder, dict[str, Drawn]]:
    from lintsvc.order.load import load_here
    from lintsvc.order.read import read_order
    from lintsvc.packet.drawn import drawn_of
    from lintsvc.rulebook.check import Progress

    drawn: dict[str, Drawn] = {}
    seen = 0
    files = [x.file for x in read_order(path).part]

    def tell(name: str, percent: float) -> None:
        # By its file: that is what somebody who waits can make sense of.
        step(f"part: {files[seen]}", _PARTS_PERCENT * (seen + percent / 100) / len(files))

    def on_part(id: str, result: Result) -> None:
        nonlocal seen
        if result.checked is not None:
            tell("draw", 100.0)
            drawn[id] = drawn_of(result.checked)
        seen += 1

    progress = Progress(step=tell)
    today = datetime.now(UTC).date()
    order = load_here(path, rules, today=today, progress=progress, on_part=on_part)
    # Where it lies here is nobody's business: files are called as the order calls them.
    parts = tuple(replace(x, report=replace(x.report, file=x.entry.file)) for x in order.parts)
    return replace(order, name=path.name, parts=parts), drawn


def _all(path: Path, job: dict[str, Any], rules: Iterable[Rule], step: Step) -> bytes:
    """Return a zip of everything that is made of an order at once."""
    from lintsvc import __version__
    from lintsvc.model.report import Report
    from lintsvc.order.check import check_order
    from lintsvc.packet.to_data import order_data
    from lintsvc.packet.write import PacketError, inspection_sheets, packet_files, results_table, zipped

    rules = list(rules)
    order, drawn = _load(path, rules, step)
    mine = sum("order" in x.kinds for x in rules)
    done = 0

    def on_rule(rule: str) -> None:
        # Each is a step of its own: the limit on a step's time is meant for one rule.
        nonlocal done
        step(f"whole: {rule}", _PARTS_PERCENT + (94.0 - _PARTS_PERCENT) * done / max(1, mine))
        done += 1

    entry = check_order(order, rules, adjustments=order.shop.limits, on_rule=on_rule)
    entries: tuple[PartReport, ...] = tuple(x.report for x in order.parts)
    report = Report(entries, made_by=__version__, order=entry)
    step("packet", 94.0)
    try:
        files = packet_files(order, drawn, entry=entry)
    except PacketError as error:
        raise CannotMake(str(error)) from None
    data = order_data(order, entry, report, drawn)
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_STORED) as made:
        made.writestr("order.json", json.dumps(data, allow_nan=False))
        made.writestr("packet.zip", zipped(files))
        made.writestr("inspection.pdf", inspection_sheets(order, drawn) if drawn else b"")
        made.writestr("results.csv", results_table(order, drawn))
    return out.getvalue()


def _print(path: Path, job: dict[str, Any], step: Step) -> bytes:
    from lintsvc.packet.prints import outline_print

    order, drawn = _load(path, (), step)
    part = next((x for x in order.parts if x.id == job["part"]), None)
    if part is None:
        raise CannotMake(f"the order has no part {job['part']!r}")
    if part.id not in drawn:
        raise CannotMake("this part's file could not be read")
    title = f"{part.id} {part.path.name}"
    try:
        return outline_print(drawn[part.id], title, job["paper"], job["offset_mm"], template=job["template"])
    except ValueError as error:
        raise CannotMake(str(error)) from None


def _arrival(path: Path, job: dict[str, Any], results: bytes, step: Step) -> bytes:
    """Return what became of each piece, and the shop.toml with what was learnt."""
    import hashlib

    from lintsvc.packet.arrival import ResultsError, arrival_data, judge, read_results
    from lintsvc.packet.inspection import sizes_of
    from lintsvc.packet.shop_file import CountedBefore, with_arrival
    from lintsvc.rulebook.shop import ShopError, parse_shop

    order, drawn = _load(path, (), step)
    sizes = {x.id: sizes_of(order, x, drawn[x.id]) for x in order.parts if x.id in drawn}
    named = order.order.order.shop
    before = ""
    if named and (path.parent / named).is_file():
        before = (path.parent / named).read_text("utf-8", "replace")
    said = ""
    try:
        arrival = judge(order.parts, sizes, read_results(results.decode("utf-8-sig", "replace"), sizes))
        after = with_arrival(before, arrival, "results.csv", hashlib.sha256(results).hexdigest(), named or "shop.toml")
    except CountedBefore as error:
        after, said = before, str(error)
    except (ResultsError, ShopError) as error:
        raise CannotMake(str(error)) from None
    figures = [x.source.text for x in parse_shop(after).measured]
    told = {**arrival_data(arrival), "shop": after, "said": said, "shop_says": figures}
    return json.dumps(told, allow_nan=False).encode()
