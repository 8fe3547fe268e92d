"""The client against a running service that wants a token."""

from __future__ import annotations

import asyncio
import hashlib
import inspect
import json
import os
import re
import subprocess
import sys
from pathlib import Path
from typing import Any

import httpx
import pytest
from client.conftest import new_token
from parts.service_parts import box_stl, open_box_stl, plate_dxf
from service.running import Running

from lintsvc.client import AsyncClient, Away, Client, Event, Refused, calls, order_calls
from lintsvc.model.choices import Choices
from lintsvc.reports.json_report import from_dict

OPERATIONS = {**calls.OPERATIONS, **order_calls.OPERATIONS}
#: What a multipart upload does too, in one request; and the health of the process, which is for its keeper.
LEFT_OUT = {"uploads.abilities", "uploads.create", "uploads.look", "uploads.add", "uploads.drop"}


def client_of(running: Running, token: str | None = None) -> Client:
    return Client(address(running), running.token if token is None else token)


def address(running: Running) -> str:
    return f"http://127.0.0.1:{running.port}"


def test_client_has_every_operation_of_the_document_and_no_other(guarded: Running) -> None:
    paths: dict[str, Any] = guarded.get("/api/openapi.json").json["paths"]
    by_name = re.compile(r"^/api/v1/checks/\{check_id\}/(files/\{number\}/)?([a-z]+(\.[a-z]+)?)$")
    found = {}
    for path, methods in paths.items():
        for method, operation in methods.items():
            # Everything that is made of an order is one function, by its name.
            name = "orders.made" if operation["operationId"].startswith("orders.made.") else operation["operationId"]
            found[name] = method.upper(), path
    assert found.keys() >= OPERATIONS.keys() | LEFT_OUT
    for other in found.keys() - OPERATIONS.keys() - LEFT_OUT:
        method, path = found[other]
        named = by_name.match(path)
        assert named, f"{other} is not in lintsvc.client.calls"
        call = (calls.of_file if named[1] else calls.made)("ID", named[2], 3)
        assert (call.method, call.path) == (method, path.format(check_id="ID", number=3))


@pytest.mark.parametrize("operation", OPERATIONS)
def test_calls_go_to_the_method_and_path_of_the_document(guarded: Running, operation: str) -> None:
    paths: dict[str, Any] = guarded.get("/api/openapi.json").json["paths"]
    ids: dict[str, Any] = {"check_id": "A-check", "share_id": "a-share", "number": 2, "fingerprint": "00112233445566aa"}
    named = {"orders.made": "orders.made.packet.zip"}.get(operation, operation)
    (where,) = [(m, p) for p, x in paths.items() for m, o in x.items() if o["operationId"] == named]
    function = OPERATIONS[operation]
    ids |= {"order_id": "an-order", "part": "lid", "arrival": "00112233aabbccdd"}
    values = ids | {"files": [], "choices": {}, "sha256": [], "file": 2, "reason": "meant so"}
    values |= {"name": "packet.zip", "results": b"x", "arrival_id": ids["arrival"]}
    needed = [x.name for x in inspect.signature(function).parameters.values() if x.default is x.empty]
    call = function(*(values[x] for x in needed))
    said = ("GET", call) if isinstance(call, str) else (call.method, call.path)
    assert said == (where[0].upper(), where[1].format(**ids))


def test_both_clients_have_the_same_methods_with_the_same_arguments() -> None:
    def methods(of: type) -> dict[str, list[str]]:
        found = {k: v for k, v in vars(of).items() if inspect.isfunction(v) and not k.startswith("_")}
        return {k: [str(x) for x in inspect.signature(v).parameters.values()] for k, v in found.items()}

    assert methods(Client) == methods(AsyncClient)
    reached = inspect.getsource(Client)
    assert all(f"calls.{x.__name__}(" in reached for x in OPERATIONS.values())


def test_check_comes_back_with_the_report_of_the_model(guarded: Running, tmp_path: Path) -> None:
    path = tmp_path / "open box.stl"
    path.write_bytes(open_box_stl())
    with client_of(guarded) as client:
        check = client.check([path], process="powder-bed", material="pa12")
        assert (check.state, check.ended, [x.name for x in check.files]) == ("done", True, ["open box.stl"])
        assert check.choices == {"process": "powder-bed", "material": "pa12"}
        assert check.report is not None
        assert "soundness/open-edge" in {x.rule for x in check.report.parts[0].findings}
        assert client.report(check.id) == check.report == client.show(check.id).report
        answer = guarded.get(f"/api/v1/checks/{check.id}/report.json")
        assert from_dict(answer.json) == check.report


def test_every_way_to_look_at_a_check_works(guarded: Running) -> None:
    with client_of(guarded) as client:
        check = client.check(
            [("plate.dxf", plate_dxf(hole=0.5))], Choices(process="sheet", material="steel-mild", thickness_mm=2.0)
        )
        sarif = json.loads(client.made(check.id, "report.sarif"))
        assert sarif["version"] == "2.1.0"
        assert client.made(check.id, "report.xml").startswith(b"<?xml")
        assert client.made(check.id, "highlights.svg").lstrip().startswith(b"<")
        assert b"<svg" in client.of_file(check.id, "picture.svg")
        assert json.loads(client.of_file(check.id, "geometry"))
        assert json.loads(client.of_file(check.id, "findings"))["findings"]
        assert {x["id"] for x in client.processes()} == {"powder-bed", "sheet"}
        assert "pa12" in {x["id"] for x in client.materials()}
        assert "sheet/hole-too-small" in {x["id"] for x in client.rules()["rules"]}
        events = list(client.events(check.id))
        assert all(isinstance(x, Event) for x in events)
        finding = check.report.parts[0].findings[0] if check.report else None
        assert finding is not None
        assert "a vent" in client.set_aside(check.id, 0, finding.fingerprint, "a vent, meant so")
        client.take_back(check.id, 0, finding.fingerprint)
        share = client.make_share(check.id, days=2)
        assert share.secret and share.link
        assert [x.id for x in client.shares(check.id)] == [share.id]
        client.revoke_share(check.id, share.id)
        assert client.shares(check.id) == []
        assert check.id in {x.id for x in client.checks()}
        client.remove(check.id)
        with pytest.raises(Refused) as refused:
            client.show(check.id)
        assert (refused.value.status, refused.value.kind) == (404, "not-found")


def test_list_of_checks_goes_on_to_the_next_page(guarded: Running) -> None:
    with client_of(guarded) as client:
        made = [client.check([(f"{n}.stl", box_stl(20, 20, 20, seed=n))], wait=False).id for n in range(3)]
        first, after = client.do(calls.listed(2))
        rest, _ = client.do(calls.listed(100, after))
        assert [x.id for x in (*first, *rest)][:3] == made[::-1]


def test_checks_are_cancelled_and_the_same_key_gives_the_same_check(guarded: Running) -> None:
    with client_of(guarded) as client:
        many = [(f"{n}.stl", box_stl(30, 20, 20, seed=n / 7)) for n in range(12)]
        check = client.check(many, wait=False, key="once")
        assert client.check(many, wait=False, key="once").id == check.id
        try:
            client.cancel(check.id)
        except Refused as refused:
            assert refused.kind == "conflict"  # it had ended in the meantime
        assert client.wait(check).state in ("cancelled", "done")


def test_service_knows_only_files_of_the_same_token(guarded: Running) -> None:
    data = box_stl(21, 22, 23)
    digest, other = hashlib.sha256(data).hexdigest(), "0" * 64
    with client_of(guarded) as client, client_of(guarded, new_token(guarded.state, "another")) as stranger:
        assert client.known_files([digest, other]) == frozenset()
        client.check([("a.stl", data)])
        assert client.known_files([digest, other]) == {digest}
        assert stranger.known_files([digest]) == frozenset()
        again = client.check([], known=[("b.stl", digest)])
        assert [x.name for x in again.files] == ["b.stl"]
        with pytest.raises(Refused, match="there is no file with the hash"):
            stranger.check([], known=[("b.stl", digest)])
        with pytest.raises(Refused, match="no SHA-256"):
            client.known_files(["abc"])


def test_refusals_carry_the_words_of_the_service(guarded: Running) -> None:
    with client_of(guarded) as client, pytest.raises(Refused) as refused:
        client.check([("a.stl", box_stl(1, 1, 1))], material="unobtainium")
    assert (refused.value.status, refused.value.kind) == (422, "bad-choice")
    assert "unobtainium" in refused.value.detail
    assert refused.value.more["choice"] == "material"
    with client_of(guarded, "wrong") as client, pytest.raises(Refused) as refused:
        client.rules()
    assert refused.value.status == 401


def test_service_that_is_not_there_is_away() -> None:
    with Client("http://127.0.0.1:9") as client, pytest.raises(Away, match="cannot be reached"):
        client.rules()
    with pytest.raises(ValueError, match="http://"):
        Client("somewhere")


def test_what_is_no_service_is_not_taken_for_one() -> None:
    def answer(request: httpx.Request) -> httpx.Response:
        return httpx.Response(302, headers={"Location": "http://elsewhere.invalid/"})

    options = {"transport": httpx.MockTransport(answer)}
    with Client("http://here.invalid", "secret", options=options) as client, pytest.raises(Away, match="status 302"):
        client.rules()


def test_client_waits_where_the_service_says_later(monkeypatch: pytest.MonkeyPatch) -> None:
    slept: list[float] = []
    monkeypatch.setattr("lintsvc.client.synchronous.time.sleep", slept.append)
    answers = iter([httpx.Response(429, headers={"Retry-After": "3"}), httpx.Response(503), httpx.Response(200, json={
        "processes": []})])  # fmt: skip
    with Client("http://here.invalid", options={"transport": httpx.MockTransport(lambda _: next(answers))}) as client:
        assert client.processes() == []
    assert slept == [3.0, 1.0]


def test_async_client_checks_several_files_at_once(guarded: Running) -> None:
    async def work() -> None:
        async with AsyncClient(address(guarded), guarded.token) as client:
            checks = await asyncio.gather(
                *(client.check([(f"{n}.stl", box_stl(25, 20, 20, seed=n))], material="pa12") for n in range(4))
            )
            assert all(x.report is not None and x.report.parts[0].material == "pa12" for x in checks)
            events = [x async for x in client.events(checks[0].id)]
            assert all(isinstance(x, Event) for x in events)
            mine = {x.id async for x in client.checks()}
            assert mine >= {x.id for x in checks}
            with pytest.raises(Refused):
                await client.show("nothing-like-that")

    asyncio.run(work())


def test_changes_of_limits_and_levels_hold_for_the_check_they_came_with(guarded: Running) -> None:
    part = [("plate.dxf", plate_dxf(hole=2.5))]
    sheet = Choices(process="sheet", material="steel-mild", thickness_mm=2.0)
    with client_of(guarded) as client:
        plain = client.check(part, sheet)
        limit = {"limits": [{"rule": "sheet/hole-too-small", "text": "3mm"}]}
        off = {"levels": [{"rule": "sheet/*", "level": "off"}]}
        changed = client.check(part, sheet, changes=limit)
        silent = client.check(part, sheet, changes=off)
        assert plain.report and changed.report and silent.report
        assert not [x for x in plain.report.parts[0].findings if x.rule == "sheet/hole-too-small"]
        (found,) = [x for x in changed.report.parts[0].findings if x.rule == "sheet/hole-too-small"]
        assert found.limit is not None and found.limit.value == 3.0
        assert found.limit.source is not None and found.limit.source.kind == "shop"
        assert any("switched off" in x.why for x in silent.report.parts[0].not_checked)


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"levels": [{"rule": "sheet/no-such", "level": "off"}]}, "there is no rule 'sheet/no-such'"),
        ({"levels": [{"rule": "sheet/*"}]}, "needs rule and level"),
        ({"limits": [{"rule": "sheet/hole-too-small", "text": "3mm", "colour": "red"}]}, "no key 'colour'"),
        ({"measured": [{"what": "hole", "offset": "much"}]}, "needs offset"),
        ({"colours": []}, "limits, levels and measured"),
    ],
)
def test_changes_that_mean_nothing_are_refused(guarded: Running, changes: dict[str, Any], words: str) -> None:
    with client_of(guarded) as client, pytest.raises(Refused, match=words.replace("*", ".")):
        client.check([("plate.dxf", plate_dxf())], changes=changes)


def test_limit_in_a_wrong_unit_is_told_and_never_a_pass(guarded: Running) -> None:
    with client_of(guarded) as client:
        changes = {"limits": [{"rule": "sheet/hole-too-small", "text": "three"}]}
        report = client.check([("plate.dxf", plate_dxf())], changes=changes).report
        assert report is not None and report.parts[0].unreadable is not None
        assert "'three' is no limit" in report.parts[0].unreadable.why


ORDER = """\
[order]
name = "A box"

[[part]]
id = "box"
file = "box.stl"
process = "powder-bed"
material = "pa12"
quantity = 2
"""


def test_order_goes_out_and_what_arrives_is_judged(guarded: Running) -> None:
    with client_of(guarded) as client:
        order = client.send_order([("order.toml", ORDER.encode()), ("box.stl", box_stl(34, 20, 20))])
        assert [x.name for x in order.files] == ["order.toml", "box.stl"]
        assert order.id in {x.id for x in client.orders()}
        assert client.show_order(order.id).links == order.links
        assert json.loads(client.made_of_order(order.id, "order.json"))
        assert client.made_of_order(order.id, "packet.zip").startswith(b"PK")
        results = client.made_of_order(order.id, "results.csv")
        arrival = client.arrive(order.id, results)
        assert client.arrival(order.id, arrival)
        client.remove_order(order.id)
        with pytest.raises(Refused, match="there is no order"):
            client.show_order(order.id)
        with pytest.raises(Refused) as refused:
            client.send_order([("order.toml", b"[order]\nnmae = 1\n")])
        assert refused.value.kind == "bad-order"


def test_examples_of_the_documents_run_as_they_stand(guarded: Running, tmp_path: Path, repository: Path) -> None:
    text = (repository / "docs" / "client.md").read_text("utf-8")
    examples = re.findall(r"<!-- run with a service -->\n```python\n(.*?)```", text, re.DOTALL)
    assert len(examples) == 2 == text.count("```python")
    (tmp_path / "bracket.dxf").write_bytes(plate_dxf(hole=0.5))
    (tmp_path / "box.stl").write_bytes(box_stl(33, 20, 20))
    env = os.environ | {"LINTSVC_SERVER": address(guarded), "LINTSVC_TOKEN": guarded.token}
    # Twice: the second time the service has the files.
    for example in (*examples, *examples):
        done = subprocess.run(
            [sys.executable, "-c", example], cwd=tmp_path, env=env, capture_output=True, text=True, check=False
        )
        assert done.returncode == 0, done.stderr
        assert "bracket.dxf warning" in done.stdout or "box.stl {" in done.stdout
    assert (tmp_path / "report.pdf").read_bytes().startswith(b"%PDF")
