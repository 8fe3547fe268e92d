"""A seccomp filter that denies what checking a part never needs. Written as BPF, without a library.

It shuts the network (also where a container forbids namespaces of its own), starting programs,
looking into other processes, signals to them, memory that outlives its mapping and would be counted for
nobody, and changes of owners, modes and times, which Landlock does not cover.

System call numbers are those of the kernel's tables for the two
architectures; any other architecture gets no filter, and `install` says so.
"""

from __future__ import annotations

import ctypes
import errno
import functools
import os
import platform
import struct
from typing import NamedTuple

_X86_64: dict[str, int] = {
    "shmget": 29, "semget": 64, "msgget": 68, "mq_open": 240, "memfd_secret": 447,
    "socket": 41, "connect": 42, "socketpair": 53, "fork": 57, "vfork": 58, "execve": 59, "kill": 62, "chmod": 90,
    "fchmod": 91, "chown": 92, "fchown": 93, "lchown": 94, "ptrace": 101, "utime": 132, "personality": 135,
    "pivot_root": 155, "chroot": 161, "mount": 165, "swapon": 167, "init_module": 175, "setxattr": 188,
    "lsetxattr": 189, "fsetxattr": 190, "tkill": 200, "tgkill": 234, "utimes": 235, "kexec_load": 246, "add_key": 248,
    "request_key": 249, "keyctl": 250, "fchownat": 260, "fchmodat": 268, "unshare": 272, "utimensat": 280,
    "perf_event_open": 298, "name_to_handle_at": 303, "open_by_handle_at": 304, "setns": 308, "process_vm_readv": 310,
    "process_vm_writev": 311, "finit_module": 313, "memfd_create": 319, "bpf": 321, "execveat": 322,
    "userfaultfd": 323, "pidfd_send_signal": 424, "io_uring_setup": 425, "pidfd_open": 434, "clone3": 435,
    "pidfd_getfd": 438, "fchmodat2": 452,
}  # fmt: skip
_AARCH64: dict[str, int] = {
    "mq_open": 180, "msgget": 186, "semget": 190, "shmget": 194, "memfd_secret": 447,
    "setxattr": 5, "lsetxattr": 6, "fsetxattr": 7, "mount": 40, "pivot_root": 41, "chroot": 51, "fchmod": 52,
    "fchmodat": 53, "fchownat": 54, "fchown": 55, "utimensat": 88, "personality": 92, "unshare": 97, "kexec_load": 104,
    "init_module": 105, "ptrace": 117, "kill": 129, "tkill": 130, "tgkill": 131, "socket": 198, "socketpair": 199,
    "connect": 203, "add_key": 217, "request_key": 218, "keyctl": 219, "execve": 221, "swapon": 224,
    "perf_event_open": 241, "name_to_handle_at": 264, "open_by_handle_at": 265, "setns": 268, "process_vm_readv": 270,
    "process_vm_writev": 271, "finit_module": 273, "memfd_create": 279, "bpf": 280, "execveat": 281,
    "userfaultfd": 282, "pidfd_send_signal": 424, "io_uring_setup": 425, "pidfd_open": 434, "clone3": 435,
    "pidfd_getfd": 438, "fchmodat2": 452,
}  # fmt: skip
#: Audit architecture, numbers, number of `clone`.
_ARCHITECTURES: dict[str, tuple[int, dict[str, int], int]] = {
    "x86_64": (0xC000003E, _X86_64, 56),
    "aarch64": (0xC00000B7, _AARCH64, 220),
}

_LOAD, _IF_EQUAL, _IF_AT_LEAST, _IF_BITS, _RETURN = 0x20, 0x15, 0x35, 0x45, 0x06
_ALLOW, _KILL, _FAIL = 0x7FFF0000, 0x80000000, 0x00050000
_NUMBER, _ARCHITECTURE, _FIRST_ARGUMENT = 0, 4, 16
_CLONE_THREAD = 0x10000
_X32 = 0x40000000

_libc = ctypes.CDLL(None, use_errno=True)


class Filter(NamedTuple):
    """The filter as the kernel takes it. The header points into the code."""

    header: ctypes.Array[ctypes.c_char]
    code: ctypes.Array[ctypes.c_char]


@functools.cache
def written() -> Filter | None:
    """Write the filter; None on an architecture that is not in the table. Done before a fork, no child pays for it."""
    known = _ARCHITECTURES.get(platform.machine())
    if known is None:
        return None
    program = _program(*known, x32=platform.machine() == "x86_64")
    code = ctypes.create_string_buffer(b"".join(program))
    header = struct.pack("HxxxxxxQ", len(program), ctypes.addressof(code))
    return Filter(ctypes.create_string_buffer(header), code)


def install() -> bool:
    """Deny the calls from now on. Return False on an architecture that is not in the table.

    Raises OSError when the kernel refuses. `no_new_privs` must be set already.
    """
    filtered = written()
    if filtered is None:
        return False
    # prctl(PR_SET_SECCOMP, SECCOMP_MODE_FILTER, program)
    if _libc.prctl(22, 2, filtered.header, 0, 0) < 0:
        number = ctypes.get_errno()
        raise OSError(number, f"seccomp: {os.strerror(number)}")
    return True


def _program(architecture: int, numbers: dict[str, int], clone: int, *, x32: bool) -> list[bytes]:
    program = [
        _step(_LOAD, _ARCHITECTURE),
        _step(_IF_EQUAL, architecture, then=1),
        _step(_RETURN, _KILL),
        _step(_LOAD, _NUMBER),
    ]
    if x32:
        # The same calls under other numbers.
        program += [_step(_IF_AT_LEAST, _X32, otherwise=1), _step(_RETURN, _KILL)]
    for name, number in numbers.items():
        # clone3 hides its flags from a filter; "not there" makes the C library use clone.
        failure = errno.ENOSYS if name == "clone3" else errno.EPERM
        program += [_step(_IF_EQUAL, number, otherwise=1), _step(_RETURN, _FAIL | failure)]
    program += [
        # Threads may be started, processes not.
        _step(_IF_EQUAL, clone, otherwise=4),
        _step(_LOAD, _FIRST_ARGUMENT),
        _step(_IF_BITS, _CLONE_THREAD, otherwise=1),
        _step(_RETURN, _ALLOW),
        _step(_RETURN, _FAIL | errno.EPERM),
        _step(_RETURN, _ALLOW),
    ]
    return program


def _step(code: int, value: int, then: int = 0, otherwise: int = 0) -> bytes:
    return struct.pack("HBBI", code, then, otherwise, value)
