"""A file whose check crashes, hangs or eats memory is reported as not finished; the others are checked."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from parts.command import FINDS, lintsvc, lintsvc_anew, write_housing, write_rule

#: Only the file called so falls into the trap, and what is said of it then.
TRAPS = {
    "aborts": ("os.abort()", "SIGABRT"),
    "leaves": ("os._exit(7)", "status 7"),
    "hangs": ("time.sleep(600)", "longer than 8 s"),
    "eats": ("list(iter(lambda: bytearray(1 << 20), None))", "1000 MiB"),
}
BOUNDS = {"LINTSVC_FILE_SECONDS": "80", "LINTSVC_STEP_SECONDS": "8", "LINTSVC_MEMORY_MIB": "1000"}


def only_for(name: str, trap: str) -> str:
    return f"if part.part.file.startswith({name!r}):\n    {trap}"


def test_rule_that_takes_the_process_down_is_lost_alone(tmp_path: Path) -> None:
    pack = write_rule(tmp_path / "trial", "works", FINDS, level="note")
    for name, (trap, _) in TRAPS.items():
        write_rule(pack, name, only_for(name, trap))
    names = ["good", *TRAPS, "last"]
    for name in names:
        write_housing(tmp_path / f"{name}.stl")
    files = [f"{x}.stl" for x in names]
    ran = lintsvc_anew("check", *files, "--rules", pack, "--format", "json", cwd=tmp_path, **BOUNDS)
    assert ran.returncode == 3
    parts = dict(zip(names, json.loads(ran.stdout)["parts"], strict=True))
    for name, (_, why) in TRAPS.items():
        (missed,) = [x for x in parts[name]["not_checked"] if x.get("failed")]
        assert missed["rule"] == f"trial/{name}"
        assert why in missed["why"]
        assert "trial/works" in parts[name]["checked"]
        assert all(f"trial/{name}" in parts[x]["checked"] for x in names if x != name)


def test_file_that_takes_too_many_rules_down_is_given_up_and_the_others_are_not(tmp_path: Path) -> None:
    for number in range(5):
        pack = write_rule(tmp_path / "trial", f"trap-{number}", only_for("bad", "os.abort()"))
    for name in ("bad", "good"):
        write_housing(tmp_path / f"{name}.stl")
    ran = lintsvc("check", "bad.stl", "good.stl", "--rules", pack, "--format", "json", cwd=tmp_path, **BOUNDS)
    lost, good = json.loads(ran.stdout)["parts"]
    assert ran.returncode == 3
    assert lost["part"] is None
    (missed,) = lost["not_checked"]
    assert missed["rule"] == "*"
    assert missed["failed"] is True
    assert "SIGABRT" in lost["unreadable"]["why"]
    assert lost["unreadable"]["where"] == "at trial/trap-3"
    assert "trial/trap-4" in good["checked"]


def test_rule_that_raises_loses_only_itself_and_ends_with_three(tmp_path: Path) -> None:
    write_rule(tmp_path / "trial", "raises", "raise ZeroDivisionError")
    pack = write_rule(tmp_path / "trial", "finds", FINDS, level="note")
    write_housing(tmp_path / "part.stl")
    ran = lintsvc("check", "part.stl", "--rules", pack, "--format", "json", cwd=tmp_path)
    (part,) = json.loads(ran.stdout)["parts"]
    assert ran.returncode == 3
    assert [x["rule"] for x in part["not_checked"] if x.get("failed")] == ["trial/raises"]
    assert "trial/finds" in part["checked"]


def test_what_a_library_prints_does_not_reach_standard_output(tmp_path: Path) -> None:
    noise = 'print("noise")\nos.write(1, b"noise")\nos.write(2, b"noise")'
    pack = write_rule(tmp_path / "trial", "noisy", noise)
    write_housing(tmp_path / "part.stl")
    ran = lintsvc("check", "part.stl", "--rules", pack, "--format", "json", cwd=tmp_path)
    assert ran.returncode == 0, ran.stderr
    assert "noise" not in ran.stdout + ran.stderr


def test_several_processes_keep_the_order(tmp_path: Path) -> None:
    names = [f"part-{n:02}.stl" for n in range(12)]
    for name in names:
        write_housing(tmp_path / name)
    ran = lintsvc("check", *names, "--format", "json", cwd=tmp_path)
    assert [x["file"] for x in json.loads(ran.stdout)["parts"]] == names


def test_nothing_is_run_that_lies_in_the_folder_that_is_checked(tmp_path: Path) -> None:
    for name in ("json", "queue", "select", "numpy"):
        (tmp_path / f"{name}.py").write_text("open('run', 'w').close(); raise SystemExit(9)")
    for n in range(12):
        write_housing(tmp_path / f"part-{n:02}.stl")
    program = Path(sys.executable).with_name("lintsvc")
    ran = subprocess.run([program, "check", ".", "--no-cache", "--format", "json"], cwd=tmp_path, capture_output=True,
                         text=True, timeout=300, check=False)  # fmt: skip
    assert ran.returncode == 0, ran.stderr
    assert len([x for x in json.loads(ran.stdout)["parts"] if x["part"]]) == 12
    assert not (tmp_path / "run").exists()


def test_stopping_the_command_leaves_no_process_behind(tmp_path: Path) -> None:
    told = tmp_path / "pid"
    pack = write_rule(tmp_path / "trial", "slow", f"open({str(told)!r}, 'w').write(str(os.getpid()))\ntime.sleep(600)")
    write_housing(tmp_path / "part.stl")
    command = [sys.executable, "-m", "lintsvc.cli", "check", "part.stl", "--rules", str(pack)]
    with subprocess.Popen(command, cwd=tmp_path, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as process:
        pid = int(wait_for(told))
        process.send_signal(signal.SIGINT)
        assert process.wait(120) == 130
    with pytest.raises(ProcessLookupError):
        wait_until_gone(pid)


def wait_for(path: Path) -> str:
    for _ in range(3600):
        if path.is_file() and (text := path.read_text()):
            return text
        time.sleep(0.05)
    raise AssertionError("the rule never ran")


def wait_until_gone(pid: int) -> None:
    for _ in range(2400):
        os.kill(pid, 0)
        time.sleep(0.05)
