"""`lintsvc order` as a person runs it: every format, exit status, the cache, and what is missing or wrong."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree as ET

import jsonschema
import pytest
from parts.command import lintsvc, lintsvc_anew
from parts.orders import block, holes_meet, plate, printed, sheet, square, stl, table, write

from lintsvc.commands.order_apart import check_apart, packet_apart
from lintsvc.order.check import check_order
from lintsvc.order.load import load_here
from lintsvc.packet.write import PacketError
from lintsvc.reports.json_report import from_dict, schema
from lintsvc.rulebook.adjust import NO_ADJUSTMENTS
from lintsvc.rulebook.packs import built_in_folder, load_pack
from lintsvc.rulebook.rule import Hit

TWO = sheet("top", "top.dxf") + sheet("base", "base.dxf") + holes_meet("top", "base")


@pytest.fixture
def apart(tmp_path: Path) -> Path:
    """An order of two plates whose holes are 1 mm apart."""
    other = [(x + (1.0 if x > 30 else 0.0) * 2, y, d) for x, y, d in square(4.5)]
    write(tmp_path, TWO, top_dxf=plate(square(4.5)), base_dxf=plate(other))
    return tmp_path


def test_text_names_the_finding_and_its_source(apart: Path) -> None:
    done = lintsvc_anew("order", "order.toml", cwd=apart)
    assert done.returncode == 1
    assert done.stderr == ""
    assert "ERROR  fit/holes-do-not-meet" in done.stdout
    assert "parts     top, base" in done.stdout
    assert "3 files; 1 error" in done.stdout


def test_json_holds_by_its_schema_and_reads_back(apart: Path) -> None:
    done = lintsvc("order", "order.toml", "--format", "json", cwd=apart)
    data = json.loads(done.stdout)
    jsonschema.validate(data, schema())
    order = data["order"]
    assert order["format"] == "order"
    assert [x["id"] for x in order["placed"]] == ["top", "base"]
    assert order["relations"][0]["of"] == ["top", "base"]
    (finding,) = order["findings"]
    assert (finding["rule"], finding["parts"]) == ("fit/holes-do-not-meet", ["top", "base"])
    assert finding["measured"]["value"] == pytest.approx(1.0)
    again = from_dict(data)
    assert again.order is not None
    assert again.order.findings[0].parts == ("top", "base")


def test_sarif_junit_html_and_markdown_tell_of_the_order(apart: Path) -> None:
    sarif = json.loads(lintsvc("order", "order.toml", "--format", "sarif", cwd=apart).stdout)["runs"][0]
    (result,) = [x for x in sarif["results"] if x["ruleId"] == "fit/holes-do-not-meet"]
    assert result["locations"][0]["physicalLocation"]["artifactLocation"]["uri"] == "order.toml"
    junit = ET.fromstring(lintsvc("order", "order.toml", "--format", "junit", cwd=apart).stdout)
    suite = junit.find("testsuite[@name='order.toml']")
    assert suite is not None
    assert suite.get("failures") == "1"
    page = lintsvc("order", "order.toml", "--format", "html", cwd=apart).stdout
    assert "Check of the order Order" in page
    assert "fit/holes-do-not-meet" in page
    assert page.count("<svg") == 2
    assert "fit/holes-do-not-meet" in lintsvc("order", "order.toml", "--format", "markdown", cwd=apart).stdout


def test_second_run_from_the_cache_says_the_same(apart: Path) -> None:
    first, second = (lintsvc("order", "order.toml", cwd=apart) for _ in range(2))
    assert first.stdout == second.stdout
    assert list((apart / ".cache").rglob("*.bin"))
    fresh = lintsvc("order", "order.toml", "--no-cache", cwd=apart)
    assert fresh.stdout == first.stdout


def test_set_aside_findings_do_not_count(apart: Path) -> None:
    report = json.loads(lintsvc("order", "order.toml", "--format", "json", cwd=apart).stdout)
    (finding,) = report["order"]["findings"]
    (apart / "lintsvc-set-aside.toml").write_text(
        f'[[set-aside]]\nfile = "order.toml"\nfingerprint = "{finding["fingerprint"]}"\nrule = "{finding["rule"]}"\n'
        'reason = "drilled together"\nauthor = "A. Name"\n',
        "utf-8",
    )
    done = lintsvc("order", "order.toml", cwd=apart)
    assert done.returncode == 0
    assert "(set aside)" in done.stdout


def test_a_level_can_be_switched_off_in_lintsvc_toml(apart: Path) -> None:
    (apart / "lintsvc.toml").write_text('[levels]\n"fit/holes-do-not-meet" = "off"\n', "utf-8")
    done = lintsvc("order", "order.toml", cwd=apart)
    assert done.returncode == 0
    assert "switched off: lintsvc.toml, line 2: fit/holes-do-not-meet" in done.stdout


def test_a_missing_file_is_said_and_ends_in_two(tmp_path: Path) -> None:
    write(tmp_path, TWO, top_dxf=plate(square(4.5)))
    done = lintsvc("order", "order.toml", cwd=tmp_path)
    assert done.returncode == 2
    assert "UNREADABLE" in done.stdout
    assert "base: the file could not be read" in done.stdout
    assert "Traceback" not in done.stderr


def test_a_wrong_order_ends_in_two_and_names_the_line(tmp_path: Path) -> None:
    path = write(tmp_path, TWO.replace("thickness", "thicknes"), top_dxf=plate(square(4.5)))
    done = lintsvc("order", path.name, cwd=tmp_path)
    assert done.returncode == 2
    assert "order.toml, line 6: there is no key 'thicknes' here; did you mean 'thickness'?" in done.stderr


def test_no_path_of_this_machine_is_told(apart: Path) -> None:
    for form in ("text", "json", "sarif", "html"):
        assert str(apart) not in lintsvc("order", "order.toml", "--format", form, cwd=apart).stdout


def test_a_mesh_that_is_not_closed_is_not_checked_for_clashes(tmp_path: Path) -> None:
    whole = stl(block(20, 20, 20))
    # One facet less.
    count = int.from_bytes(whole[80:84], "little") - 1
    opened = whole[:80] + count.to_bytes(4, "little") + whole[84 : 84 + 50 * count]
    text = printed("one", "one.stl") + printed("two", "two.stl") + table("place", of="one")
    write(tmp_path, text + table("place", of="two", at=[5, 0, 0]), one_stl=whole, two_stl=opened)
    done = lintsvc("order", "order.toml", cwd=tmp_path)
    assert "two: its mesh is not closed: fit/parts-clash" in done.stdout
    assert "Traceback" not in done.stderr


def test_check_takes_what_an_order_says_of_its_parts(apart: Path) -> None:
    done = lintsvc("check", "top.dxf", "--order", "order.toml", "--format", "json", cwd=apart)
    assert done.returncode == 1, done.stderr
    data = json.loads(done.stdout)
    (part,) = data["parts"]
    assert (part["file"], part["material"]) == ("top.dxf", "aluminium-5052-h32")
    assert [x["rule"] for x in data["order"]["findings"]] == ["fit/holes-do-not-meet"]
    alone = json.loads(lintsvc("check", "top.dxf", "--format", "json", cwd=apart).stdout)
    assert alone["parts"][0]["material"] is None
    assert "order" not in alone


def test_the_schema_of_the_order_file_is_printed(tmp_path: Path) -> None:
    done = lintsvc("schema", "order", cwd=tmp_path)
    jsonschema.Draft202012Validator.check_schema(json.loads(done.stdout))


def test_a_crash_of_what_puts_the_order_together_is_told_and_the_command_goes_on(tmp_path: Path) -> None:
    order = load_here(write(tmp_path, printed("a", "a.stl"), a_stl=stl(block(5, 5, 5))))
    (rule,) = (x for x in load_pack(built_in_folder() / "order").rules if x.id == "order/too-heavy-to-hand")
    whole = check_apart(order, [rule], NO_ADJUSTMENTS)
    here = check_order(order, [rule])
    assert replace(whole, seconds=here.seconds) == here

    def crashes(order: object, limit: float) -> Iterator[Hit]:
        os.kill(os.getpid(), signal.SIGKILL)
        yield Hit(limit)

    lost = check_apart(order, [replace(rule, check=crashes)], NO_ADJUSTMENTS)
    (why,) = lost.not_checked
    assert why.failed
    assert "ended by signal SIGKILL" in why.why
    assert lost.findings == ()


def test_a_crash_of_what_makes_the_packet_is_told() -> None:
    def crashes() -> dict[str, bytes]:
        os.kill(os.getpid(), signal.SIGSEGV)
        return {}

    def fails() -> dict[str, bytes]:
        raise KeyError("x")

    def refuses() -> dict[str, bytes]:
        raise PacketError("a.stl: changed")

    assert packet_apart(lambda: {"a": b"1"}) == {"a": b"1"}
    for make, why in ((crashes, "ended by signal SIGSEGV"), (fails, "KeyError: 'x'"), (refuses, "^a.stl: changed$")):
        with pytest.raises(PacketError, match=why):
            packet_apart(make)


@pytest.mark.skipif(sys.platform != "linux", reason="only Linux ends a process with its parent")
def test_a_copy_ends_with_the_process_that_made_it(tmp_path: Path) -> None:
    told = tmp_path / "pid"
    text = f"""
import os, time
from pathlib import Path
from lintsvc.child_process import in_a_copy
def work(out):
    Path({str(told)!r} + ".part").write_text(str(os.getpid()))
    os.rename({str(told)!r} + ".part", {str(told)!r})
    time.sleep(120)
in_a_copy(work)
"""
    parent = subprocess.Popen([sys.executable, "-c", text])
    try:
        until(told.exists)
        copy = int(told.read_text())
        assert (Path("/proc") / str(copy)).exists()
    finally:
        parent.kill()
        parent.wait()
    # An ended process whose new parent has not looked yet counts as ended.
    stat = Path("/proc") / str(copy) / "stat"
    until(lambda: not stat.exists() or stat.read_text().rpartition(")")[2].split()[0] == "Z")


def until(done: Callable[[], bool], seconds: float = 60.0) -> None:
    """Wait for something."""
    end = time.monotonic() + seconds
    while not done():
        assert time.monotonic() < end, "it never came"
        time.sleep(0.05)
