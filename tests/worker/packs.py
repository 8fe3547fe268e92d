"""A rule pack that misbehaves, each rule in its own way, for parts of a certain length."""

from __future__ import annotations

from pathlib import Path

RULE = '''"""{title}"""

from lintsvc.rulebook import GEOMETRY, rule


@rule(id="unruly/{name}", process="any", kind="body", level="note", since="0.1", sources=(GEOMETRY,),
      message="Seen.", remedy="None.")
def check(part):
    """{title}.

    It is there to fail.

    Measured: nothing.
    Ignore when: always.
    """
    if round(part.part.size_mm[0]) != {length}:
        return
    {body}
    yield
'''

RULES = {
    "crash": (
        1001,
        "import os, signal; os.kill(os.getpid(), signal.SIGSEGV) if False else __import__('ctypes').string_at(0)",
    ),
    # It costs nobody's time while its end is waited for.
    "loop": (1002, "import time\n    while True: time.sleep(0.01)"),
    "eat": (1003, "kept = []\n    while True: kept.append(bytearray(1 << 24))"),
    "raise": (1004, "raise ZeroDivisionError('of mine')"),
    "leave": (1005, "import os; os._exit(0)"),
    "hold": (1006, "import time; time.sleep(4)"),
    # Whatever is to happen meanwhile happens in time: a step that says something now and then has no limit of its own.
    "poison": (1007, "import os, time\n    for _ in range(200): os.write(4, b'unruly/poison\\n'); time.sleep(0.5)"),
    "share": (
        1011,
        "import mmap\n    kept = []\n    while True:\n        kept.append(mmap.mmap(-1, 1 << 24))\n"
        "        for at in range(0, 1 << 24, 4096): kept[-1][at] = 1",
    ),
    "hoard": (
        1012,
        "import ctypes\n    libc = ctypes.CDLL(None, use_errno=True)\n"
        "    if libc.shmget(0, ctypes.c_size_t(4096), 0o1600) < 0: raise RuntimeError('no memory to leave')",
    ),
    "fill": (1013, "n = 0\n    while True: open(f'{n}', 'wb').write(bytes(1 << 20)); n += 1"),
    "litter": (1014, "n = 0\n    while True: open(f'{n}', 'wb').close(); n += 1"),
    "swarm": (
        1015,
        "import threading, time\n    threading.stack_size(1 << 16)\n"
        "    while True: threading.Thread(target=time.sleep, args=(60,)).start()",
    ),
    "nest": (1016, "import os\n    for _ in range(1900): os.mkdir('d'); os.chdir('d')"),
    "tell": (1017, "raise RuntimeError(open('/proc/self/environ').read() + repr(dict(__import__('os').environ)))"),
    "spy": (
        1018,
        "import os\n    open_to = []\n    for place in open('part.txt').read().split():\n"
        "        try: open_to.append(os.listdir(place))\n        except OSError: pass\n    raise RuntimeError(open_to)",
    ),
    "chatter": (1019, "import os\n    while True: os.write(3, b'{\"step\": \"' + b'x' * 4000 + b'\"}\\n')"),
    "silent": (1008, "import os, time; os.close(3); time.sleep(2)"),
}


def write_unruly(folder: Path) -> Path:
    """Write the pack below `folder` and return it."""
    pack = folder / "unruly"
    pack.mkdir(parents=True)
    (pack / "pack.toml").write_text('name = "unruly"\ntitle = "Unruly"\nsummary = "Rules that fail."\n')
    for name, (length, body) in RULES.items():
        (pack / f"{name}.py").write_text(RULE.format(name=name, title=name.title(), length=length, body=body))
    return folder
