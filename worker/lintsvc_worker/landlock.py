"""Landlock (Linux 5.13 and newer): which folders a process may read and write from now on. By raw system calls.

Constants are those of the kernel's `linux/landlock.h`.
"""

from __future__ import annotations

import ctypes
import os
import stat
import struct
from collections.abc import Iterable
from pathlib import Path

_CREATE_RULESET, _ADD_RULE, _RESTRICT_SELF = 444, 445, 446  # the same numbers on every architecture
_VERSION = 1
_PATH_BENEATH = 1

_WRITE_FILE, _READ_FILE, _READ_DIR = 1 << 1, 1 << 2, 1 << 3
_REMOVE_DIR, _REMOVE_FILE = 1 << 4, 1 << 5
_MAKE_DIR, _MAKE_REG = 1 << 7, 1 << 8
_EXECUTE = 1 << 0
_REFER, _TRUNCATE, _IOCTL_DEV = 1 << 13, 1 << 14, 1 << 15
#: What the first version knows: everything from execute to making symbolic links.
_FIRST = (1 << 13) - 1
#: Rights that make sense on a single file.
_ON_FILES = _EXECUTE | _WRITE_FILE | _READ_FILE | _TRUNCATE | _IOCTL_DEV

_libc = ctypes.CDLL(None, use_errno=True)


def version() -> int:
    """Return the kernel's Landlock version, 0 where it has none."""
    return max(0, int(_libc.syscall(_CREATE_RULESET, None, ctypes.c_size_t(0), ctypes.c_uint(_VERSION))))


def restrict(*, read: Iterable[Path], write: Iterable[Path]) -> int:
    """Allow reading below `read`, reading and writing below `write`, and nothing else.

    Also shuts TCP, abstract sockets and signals where the kernel can. Returns the version that was
    used, 0 when the kernel has none. Raises OSError. `no_new_privs` must be set already.
    """
    abi = version()
    if abi < 1:
        return 0
    handled = _FIRST
    handled |= _REFER if abi >= 2 else 0
    handled |= _TRUNCATE if abi >= 3 else 0
    handled |= _IOCTL_DEV if abi >= 5 else 0
    attributes = struct.pack("QQQ", handled, 3 if abi >= 4 else 0, 3 if abi >= 6 else 0)
    # Older kernels know a shorter structure.
    attributes = attributes[: 24 if abi >= 6 else 16 if abi >= 4 else 8]
    rules = _checked(_libc.syscall(_CREATE_RULESET, attributes, ctypes.c_size_t(len(attributes)), ctypes.c_uint(0)))
    reading = _READ_FILE | _READ_DIR
    writing = reading | _WRITE_FILE | _REMOVE_FILE | _REMOVE_DIR | _MAKE_REG | _MAKE_DIR | (handled & _TRUNCATE)
    try:
        for paths, access in ((read, reading), (write, writing)):
            for path in paths:
                _allow(rules, path, access & handled)
        _checked(_libc.syscall(_RESTRICT_SELF, ctypes.c_int(rules), ctypes.c_uint(0)))
    finally:
        os.close(rules)
    return abi


def _allow(rules: int, path: Path, access: int) -> None:
    try:
        handle = os.open(path, os.O_PATH | os.O_CLOEXEC)
    except FileNotFoundError:
        return
    try:
        if not stat.S_ISDIR(os.fstat(handle).st_mode):
            access &= _ON_FILES
        rule = struct.pack("=Qi", access, handle)
        _checked(_libc.syscall(_ADD_RULE, ctypes.c_int(rules), ctypes.c_int(_PATH_BENEATH), rule, ctypes.c_uint(0)))
    finally:
        os.close(handle)


def _checked(result: int) -> int:
    if result < 0:
        number = ctypes.get_errno()
        raise OSError(number, f"landlock: {os.strerror(number)}")
    return result
