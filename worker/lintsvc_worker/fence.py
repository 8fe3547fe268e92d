"""The fence around one check: what the child may not do, whatever the file makes it do.

`enter` is called in a freshly forked child with one thread. It uses what the platform gives and
says which of it held: another user, own network namespace, resource limits, Landlock, seccomp.
Memory is watched from outside (see `zygote`); the address-space limit here is a backstop.
"""

from __future__ import annotations

import ctypes
import os
import resource
import signal
import sys
from collections.abc import Iterable, Iterator
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from lintsvc_worker import landlock, seccomp

_libc = ctypes.CDLL(None, use_errno=True)

_PR_SET_PDEATHSIG, _PR_SET_DUMPABLE, _PR_SET_NAME, _PR_SET_NO_NEW_PRIVS = 1, 4, 15, 38
_NEW_USER, _NEW_NET, _NEW_IPC, _NEW_UTS = 0x10000000, 0x40000000, 0x08000000, 0x04000000
#: "nobody" of every Linux: owns nothing.
NOBODY = 65534


@dataclass(frozen=True, slots=True)
class Limits:
    """What the child may use."""

    cpu_seconds: int = 120
    file_bytes: int = 1 << 30
    open_files: int = 64
    #: Beyond what is mapped already. Libraries reserve far more than they use.
    address_bytes: int = 6 << 30


@dataclass(frozen=True, slots=True)
class Held:
    """Which parts of the fence stand. `landlock` is the kernel's version, 0 for none."""

    namespaces: bool
    landlock: int
    seccomp: bool
    other_user: bool


def enter(scratch: Path, read: Iterable[Path], limits: Limits, *, as_nobody: bool) -> Held:
    """Shut the fence: from here on only `scratch` can be written and only `read` be read.

    `as_nobody`: root becomes another user, who can read what is needed (see `nobody_can_read`).

    Raises OSError when a part that the platform has could not be shut.
    """
    _libc.prctl(_PR_SET_PDEATHSIG, signal.SIGKILL, 0, 0, 0)
    os.umask(0o077)
    other_user = as_nobody and _become_nobody(scratch)
    namespaces = _libc.unshare(_NEW_USER | _NEW_NET | _NEW_IPC | _NEW_UTS) == 0
    _set_limits(limits)
    # A change of user clears the death signal; and nobody may attach a debugger.
    _libc.prctl(_PR_SET_PDEATHSIG, signal.SIGKILL, 0, 0, 0)
    _libc.prctl(_PR_SET_DUMPABLE, 0, 0, 0, 0)
    if _libc.prctl(_PR_SET_NO_NEW_PRIVS, 1, 0, 0, 0) != 0:
        raise OSError(ctypes.get_errno(), "the kernel refuses no_new_privs")
    abi = landlock.restrict(read=read, write=(scratch,))
    filtered = seccomp.install()
    os.chdir(scratch)
    return Held(namespaces, abi, filtered, other_user)


def name_process(name: str) -> None:
    """Give this process a name of at most 15 characters, for whoever looks at what runs."""
    _libc.prctl(_PR_SET_NAME, name.encode(), 0, 0, 0)


def _become_nobody(scratch: Path) -> bool:
    """Give the scratch folder to nobody and become them. False where a container forbids it."""
    try:
        for path in (scratch, *scratch.iterdir()):
            os.chown(path, NOBODY, NOBODY)
        os.setgroups([])
        os.setgid(NOBODY)
        os.setuid(NOBODY)
    except PermissionError:
        return False
    return True


def nobody_can_read(folders: Iterable[Path]) -> bool:
    """True when this process is root and, as nobody, could read these folders: else a child must stay who it is."""
    if os.getuid() != 0:
        return False
    pid = os.fork()
    if pid == 0:
        status = 1
        try:
            os.setgroups([])
            os.setgid(NOBODY)
            os.setuid(NOBODY)
            status = 0 if all(os.access(x, os.R_OK | os.X_OK) for x in folders) else 1
        finally:
            os._exit(status)
    return os.waitstatus_to_exitcode(os.waitpid(pid, 0)[1]) == 0


def _set_limits(limits: Limits) -> None:
    # SIGXCPU ends the process at the first; two seconds later SIGKILL does.
    resource.setrlimit(resource.RLIMIT_CPU, (limits.cpu_seconds, limits.cpu_seconds + 2))
    for which, value in (
        (resource.RLIMIT_FSIZE, limits.file_bytes),
        (resource.RLIMIT_NOFILE, limits.open_files),
        (resource.RLIMIT_CORE, 0),
        (resource.RLIMIT_AS, mapped_bytes() + limits.address_bytes),
    ):
        resource.setrlimit(which, (value, value))


def mapped_bytes() -> int:
    """Address space that this process has mapped."""
    # Plainly read, for each child does it: what a fresh child touches is copied first.
    handle = os.open("/proc/self/statm", os.O_RDONLY)
    try:
        return int(os.read(handle, 100).split()[0]) * resource.getpagesize()
    finally:
        os.close(handle)


@dataclass(frozen=True, slots=True)
class Used:
    """What a process holds. `bytes`: memory that no file stands behind, wherever it lies: its own, such that it could
    share with others, and what was swapped out of it."""

    bytes: int = 0
    threads: int = 0


def used(pid: int) -> Used:
    """What a process holds now; nothing when it is gone."""
    try:
        told = dict(x.split(":", 1) for x in Path(f"/proc/{pid}/status").read_text().splitlines() if ":" in x)
    except OSError:
        return Used()
    # A process that has ended and was not waited for has no memory to tell of.
    kib = sum(int(told[x].split()[0]) for x in ("RssAnon", "RssShmem", "VmSwap") if x in told)
    return Used(kib << 10, int(told.get("Threads", "0")))


@dataclass(frozen=True, slots=True)
class Written:
    """What lies in a folder: room on the disk, and how many entries."""

    bytes: int = 0
    entries: int = 0


def written(folder: Path, most_entries: int) -> Written:
    """Add up a folder and all below it; no further than so many entries. A folder that is shut counts as too many."""
    waiting, size, entries = [folder], 0, 0
    while waiting:
        try:
            with os.scandir(waiting.pop()) as found:
                for entry in found:
                    entries += 1
                    if entries > most_entries:
                        return Written(size, entries)
                    with suppress(FileNotFoundError):
                        if entry.is_dir(follow_symlinks=False):
                            waiting.append(Path(entry.path))
                        size += entry.stat(follow_symlinks=False).st_blocks * 512
        except FileNotFoundError:
            continue  # it is gone again
        except OSError:
            return Written(size, most_entries + 1)  # shut, or too deep
    return Written(size, entries)


def code_folders(search_path: Iterable[str]) -> Iterator[Path]:
    """Folders of libraries on the search path. Of any other folder on it only the packages that are loaded from there,
    not what lies beside them: it may be somebody's home, with all that the service keeps."""
    loaded = {Path(x) for module in list(sys.modules.values()) if (x := getattr(module, "__file__", None))}
    for entry in (Path(x) for x in search_path if x):
        if entry.name in ("site-packages", "dist-packages"):
            yield entry
        else:
            yield from {entry / x.relative_to(entry).parts[0] for x in loaded if x.is_relative_to(entry)}


def library_folders(prefixes: Iterable[str], search_path: Iterable[str | Path]) -> list[Path]:
    """Return what a Python process with native libraries must be able to read."""
    fixed = ("/usr", "/lib", "/lib64", "/etc/ld.so.cache", "/etc/localtime", "/dev/null", "/dev/urandom",
             "/proc/self", "/proc/cpuinfo", "/proc/meminfo", "/sys/devices/system/cpu", "/sys/fs/cgroup")  # fmt: skip
    wanted = [*fixed, *prefixes, *(x for x in search_path if str(x))]
    return [Path(x) for x in dict.fromkeys(wanted) if Path(x).exists()]


def _try_it() -> None:
    """Shut the fence around this process, try what must fail, and say what held. For `lintsvc doctor`."""
    import socket
    import tempfile

    scratch = Path(tempfile.mkdtemp())
    outside = Path(tempfile.gettempdir()) / f"outside-{os.getpid()}"
    held = enter(scratch, library_folders([], []), Limits(), as_nobody=False)
    open_ways = []
    try:
        socket.socket().close()
        open_ways.append("the network")
    except OSError:
        pass
    try:
        outside.write_text("x")
        open_ways.append("files outside its folder")
    except OSError:
        pass
    words = [
        f"namespaces {'yes' if held.namespaces else 'no'}",
        f"landlock {held.landlock or 'no'}",
        f"seccomp {'yes' if held.seccomp else 'no'}",
    ]
    if open_ways:
        raise SystemExit(f"{', '.join(words)}; a child could still reach {' and '.join(open_ways)}")
    print(", ".join(words))


if __name__ == "__main__":
    _try_it()
