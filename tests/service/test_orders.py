"""Orders over HTTP: sent, checked as one, the packet fetched, printed 1:1, and what arrived judged."""

from __future__ import annotations

import csv
import io
import time
import zipfile

import pypdfium2
import pytest
from parts import gauge_order
from service.running import Answer, Running, form

FILES = ("order.toml", "bracket.dxf", "lid.stl", "gasket.dxf")


def send(service: Running, files: list[tuple[str, bytes]]) -> Answer:
    body, kind = form({}, files)
    return service.request("POST", "/api/v1/orders", body, {"Content-Type": kind})


@pytest.fixture(scope="module")
def files(tmp_path_factory) -> list[tuple[str, bytes]]:
    folder = tmp_path_factory.mktemp("order")
    gauge_order.write_order(folder, about='shop = "shop.toml"')
    (folder / "shop.toml").write_text("# ours\n", "utf-8")
    return [(x, (folder / x).read_bytes()) for x in (*FILES, "shop.toml")]


@pytest.fixture(scope="module")
def order(service: Running, files) -> str:
    answer = send(service, files)
    assert answer.status == 201, answer.body
    assert answer.headers["location"] == f"/api/v1/orders/{answer.json['id']}"
    return str(answer.headers["location"])


def test_report_pages_and_sizes_of_an_order(service: Running, order: str) -> None:
    answer = service.get(f"{order}/order.json")
    assert answer.status == 200, answer.body
    found = answer.json
    assert found["name"] == "Stream-level gauge"
    assert [x["id"] for x in found["parts"]] == ["bracket", "lid", "gasket"]
    assert found["report"]["order"]["relations"]
    assert [x["file"] for x in found["report"]["parts"]] == ["bracket.dxf", "lid.stl", "gasket.dxf"]
    heads = [x["text"] for x in found["page"]["blocks"] if x["kind"] == "head"]
    assert {"Parts", "Calendar", "Spares"} <= set(heads)
    bracket = found["parts"][0]
    assert bracket["pieces"] == 3
    assert any(x["id"] == "B1" and x["limits"] == "89 to 91°" for x in bracket["sizes"])
    pictures = [x for x in bracket["page"]["blocks"] if x["kind"] == "picture"]
    assert len(pictures) == 2
    assert all(x["svg"].startswith("<svg") for x in pictures)


def test_while_an_order_is_checked_it_is_told_how_far_it_is(service: Running, files) -> None:
    at = send(service, files).headers["location"]
    told: list[tuple[float, str]] = []
    while (answer := service.request("GET", f"{at}/order.json", headers={"Prefer": "wait=0"})).status == 202:
        if "percent" in answer.json:
            told.append((answer.json["percent"], answer.json["step"]))
        time.sleep(0.02)
    assert answer.status == 200, answer.body
    assert told == sorted(told, key=lambda x: x[0])
    assert told[-1][0] > 0, told
    assert any(x.startswith(("part: ", "whole: ", "packet")) for _, x in told), told


def test_an_order_that_is_deleted_while_it_is_checked_is_no_failure(service: Running, files) -> None:
    at = send(service, files).headers["location"]
    while "percent" not in (answer := service.request("GET", f"{at}/order.json", headers={"Prefer": "wait=0"})).json:
        assert answer.status == 202, answer.body
        time.sleep(0.02)
    assert service.request("DELETE", at).status == 204
    assert service.request("GET", f"{at}/order.json").status == 404
    # The worker is free again, and makes the next.
    next_one = send(service, files).headers["location"]
    assert service.get(f"{next_one}/order.json").status == 200
    assert f"of order {at.rsplit('/', 1)[1]}" not in service.words()


def test_packet_holds_the_files_that_were_sent(service: Running, order: str, files) -> None:
    answer = service.get(f"{order}/packet.zip")
    assert answer.headers["content-type"] == "application/zip"
    with zipfile.ZipFile(io.BytesIO(answer.body)) as packet:
        assert packet.testzip() is None
        assert packet.read("parts/lid/lid.stl") == dict(files)["lid.stl"]
        assert "/scratch" not in packet.read("order.html").decode()
    assert service.get(f"{order}/inspection.pdf").body.startswith(b"%PDF")


def test_outline_is_printed_with_its_offset_on_the_paper_asked_for(service: Running, order: str) -> None:
    answer = service.get(f"{order}/prints/gasket?paper=Letter&offset=0.5mm")
    assert answer.status == 200, answer.body
    document = pypdfium2.PdfDocument(answer.body)
    assert document[0].get_size() == pytest.approx((612.0, 792.0))
    said = " ".join(document[0].get_textpage().get_text_bounded().split())
    assert "moved 0.5 mm outwards" in said
    document.close()
    assert service.get(f"{order}/prints/lid").json["detail"] == "there is no closed outline to print"
    assert service.request("GET", f"{order}/prints/gasket?offset=much").status == 422
    assert service.request("GET", f"{order}/prints/gasket?paper=A9").status == 400


def test_results_are_judged_and_the_shop_learns(service: Running, order: str) -> None:
    table = service.get(f"{order}/results.csv").body.decode("utf-8-sig")
    rows = list(csv.reader(io.StringIO(table)))
    for row in rows[1:]:
        row[3] = "6.45" if (row[0], row[1], row[2]) == ("bracket", "1", "D1") else row[4]
    out = io.StringIO()
    csv.writer(out).writerows(rows)
    sent = service.request("POST", f"{order}/arrivals", out.getvalue().encode(), {"Content-Type": "text/csv"})
    assert sent.status == 201, sent.body
    again = service.request("POST", f"{order}/arrivals", out.getvalue().encode(), {"Content-Type": "text/csv"})
    assert again.headers["location"] == sent.headers["location"]
    found = service.get(sent.headers["location"]).json
    verdicts = {(x["part"], x["piece"]): x["verdict"] for x in found["pieces"]}
    assert verdicts["bracket", "1"] == "rework"
    assert verdicts["bracket", "2"] == "accept"
    assert found["shop"].startswith("# ours\n")
    assert "[[measured]]" in found["shop"]
    assert any("holes measured on" in x for x in found["shop_says"])


def test_wrong_row_of_results_is_told(service: Running, order: str) -> None:
    sent = service.request("POST", f"{order}/arrivals", b"part,piece,size,measured\nbracket,1,ZZ,3\n")
    answer = service.get(sent.headers["location"])
    assert answer.status == 404
    assert "line 2: bracket has no size 'ZZ'" in answer.json["detail"]
    assert service.request("GET", f"{order}/arrivals/0123456789abcdef").status == 404


def test_order_file_that_is_wrong_is_refused_with_its_line(service: Running, files) -> None:
    bad = [("order.toml", b'[[part]]\nid = "a"\nfil = "a.stl"\n'), *files[1:]]
    answer = send(service, bad)
    assert answer.status == 422
    assert (
        answer.json["problems"]
        == answer.json["detail"].splitlines()
        == [
            "order.toml, line 1: part.0.file is missing",
            "order.toml, line 3: there is no key 'fil' here; did you mean 'file'?",
        ]
    )
    assert send(service, files[1:4]).status == 400
    assert send(service, [*files, files[1]]).json["detail"].startswith("two files have one name")


@pytest.mark.parametrize("place", ["../../etc/passwd", "/etc/passwd", "..\\\\up.stl"])
def test_order_cannot_reach_beside_itself(service: Running, place: str) -> None:
    text = f'[[part]]\nid = "a"\nfile = "{place}"\n'.encode()
    sent = send(service, [("order.toml", text)])
    assert sent.status == 201
    answer = service.get(f"{sent.headers['location']}/order.json")
    assert answer.status == 404
    assert "is no place beside the order file" in answer.json["detail"]


def test_part_whose_file_was_not_sent_is_unreadable_not_left_out(service: Running, files) -> None:
    sent = send(service, [x for x in files if x[0] != "lid.stl"])
    found = service.get(f"{sent.headers['location']}/order.json").json
    lid = found["report"]["parts"][1]
    assert lid["unreadable"]["why"]


def test_deleted_order_is_gone(service: Running, files) -> None:
    at = send(service, files).headers["location"]
    assert service.request("GET", at).json["files"][0]["name"] == "order.toml"
    assert any(x["links"]["self"] == at for x in service.request("GET", "/api/v1/orders").json["orders"])
    assert service.request("DELETE", at).status == 204
    assert service.request("GET", at).status == 404
    assert service.request("GET", f"{at}/packet.zip").status == 404
