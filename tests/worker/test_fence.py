"""What a fenced child may not do, tried from inside: each attempt in a child of its own."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import textwrap
from collections.abc import Callable
from pathlib import Path

import pytest
from lintsvc_worker import fence, landlock, seccomp

from lintsvc.store.stray import remove_folder

#: Runs inside the fence; prints "shut" when the attempt fails and "open" when it works.
FRAME = """
import os, sys, socket, ctypes, signal
from pathlib import Path
from lintsvc_worker import fence
scratch, outside = Path(sys.argv[1]), Path(sys.argv[2])
read = fence.library_folders([sys.prefix, sys.base_prefix], sys.path)
held = fence.enter(scratch, read, fence.Limits({limits}), as_nobody=False)
try:
{attempt}
except (OSError, MemoryError) as error:
    print("shut", type(error).__name__, error)
else:
    print("open")
"""


@pytest.fixture
def inside(tmp_path: Path) -> Callable[..., subprocess.CompletedProcess[str]]:
    """Run a piece of Python inside the fence."""

    def run(attempt: str, limits: str = "") -> subprocess.CompletedProcess[str]:
        scratch = tmp_path / "scratch"
        scratch.mkdir()
        code = FRAME.format(attempt=textwrap.indent(textwrap.dedent(attempt), "    "), limits=limits)
        env = {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)}
        return subprocess.run(
            [sys.executable, "-c", code, str(scratch), str(tmp_path)],
            capture_output=True, text=True, timeout=60, env=env,
        )  # fmt: skip

    return run


ATTEMPTS = {
    "reach the network": "socket.create_connection(('127.0.0.1', 9), timeout=1)",
    "open any socket": "socket.socket(socket.AF_UNIX)",
    "write beside its folder": "(outside / 'x').write_text('x')",
    "write into the temporary folder": "Path('/tmp/lintsvc-escape').write_text('x')",
    "read a password file": "Path('/etc/shadow').read_bytes()",
    "read its neighbour's folder": "list(outside.iterdir())",
    "read another's environment": "Path('/proc/1/environ').read_bytes()",
    "start a program": "os.execv('/bin/true', ['true'])",
    "fork": "os.fork()",
    "kill its parent": "os.kill(os.getppid(), 0)",
    "change a mode": "(scratch / 'f').write_text('x'); os.chmod(scratch / 'f', 0o777)",
    "make a link out": "os.symlink('/etc/passwd', scratch / 'link')",
    "truncate what it may read": "os.truncate(fence.__file__, 0)",
    "become somebody else": "os.setuid(12345); open('/etc/hostname').read()",
}


@pytest.mark.parametrize("attempt", ATTEMPTS.values(), ids=ATTEMPTS.keys())
def test_child_cannot(inside: Callable[..., subprocess.CompletedProcess[str]], attempt: str) -> None:
    done = inside(attempt)
    assert done.stdout.startswith("shut"), (done.stdout, done.stderr)


def test_child_can_use_its_own_folder(inside: Callable[..., subprocess.CompletedProcess[str]]) -> None:
    done = inside("""
        (scratch / "a").mkdir()
        (scratch / "a" / "b").write_text("x" * 1000)
        assert (scratch / "a" / "b").read_text() == "x" * 1000
        (scratch / "a" / "b").unlink()
        import numpy
        import threading
        thread = threading.Thread(target=lambda: None)
        thread.start()
        thread.join()
    """)
    assert done.stdout == "open\n", (done.stdout, done.stderr)


def test_large_file_is_refused_with_a_clear_error(inside: Callable[..., subprocess.CompletedProcess[str]]) -> None:
    done = inside("(scratch / 'big').write_bytes(b'x' * 5_000_000)", limits="file_bytes=1_000_000")
    assert done.stdout.startswith("shut OSError [Errno 27]"), (done.stdout, done.stderr)


def test_address_space_ends_in_a_memory_error(inside: Callable[..., subprocess.CompletedProcess[str]]) -> None:
    done = inside("bytearray(1 << 31)", limits="address_bytes=1 << 30")
    assert done.stdout.startswith("shut MemoryError"), (done.stdout, done.stderr)


def test_processor_time_ends_in_its_signal(inside: Callable[..., subprocess.CompletedProcess[str]]) -> None:
    done = inside("while True: pass", limits="cpu_seconds=1")
    assert done.returncode == -signal.SIGXCPU


def test_kernel_of_the_test_machine_has_every_part() -> None:
    # What the other tests show is only worth something where the parts are there at all.
    assert landlock.version() >= 1
    assert seccomp.install.__doc__
    held = subprocess.run(
        [sys.executable, "-m", "lintsvc_worker.fence"], capture_output=True, text=True, timeout=60,
        env={**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)},
    )  # fmt: skip
    assert held.returncode == 0, held.stderr
    assert "seccomp yes" in held.stdout


def test_memory_of_a_gone_process_is_nothing() -> None:
    assert fence.used(os.getpid()).bytes > 1_000_000
    assert fence.used(os.getpid()).threads >= 1
    assert fence.used(2**22 - 1) == fence.Used()


def test_room_is_added_up_no_further_than_asked_and_what_is_shut_counts_as_too_much(tmp_path: Path) -> None:
    (tmp_path / "a" / "b").mkdir(parents=True)
    (tmp_path / "a" / "b" / "c").write_bytes(bytes(100_000))
    (tmp_path / "out").symlink_to("/usr")
    found = fence.written(tmp_path, 10)
    assert found.entries == 4
    assert 100_000 <= found.bytes < 200_000
    assert fence.written(tmp_path, 2).entries == 3
    assert fence.written(tmp_path / "gone", 2) == fence.Written()
    # One more than anybody can open by its name.
    deep = os.open(tmp_path / "a" / "b", os.O_RDONLY)
    for _ in range(1100):
        os.mkdir("long", dir_fd=deep)
        deep, before = os.open("long", os.O_RDONLY, dir_fd=deep), deep
        os.close(before)
    os.close(deep)
    assert fence.written(tmp_path, 10_000).entries == 10_001
    remove_folder(tmp_path / "a")
    assert not (tmp_path / "a").exists()
