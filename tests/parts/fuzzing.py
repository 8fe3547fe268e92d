"""Damaging files in the ways that files are damaged and attacked, for the bench and a short run in the tests."""

from __future__ import annotations

import io
import random
import re
import struct
import zipfile
import zlib
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path

from parts import meshfiles

#: Readers by the name that a seed's file has at its end.
READERS = ("stl", "3mf", "step", "glb", "ply", "svg", "dxf", "obj")
#: Larger seeds are damaged too seldom to teach anything.
LARGEST_SEED = 120_000

_NUMBER = re.compile(rb"-?\d+(?:\.\d*)?(?:[eE][+-]?\d+)?")
_ODD_NUMBERS = (b"0", b"-1", b"1e308", b"-1e-320", b"nan", b"inf", b"4294967295", b"-2147483648",
                b"99999999999999999999", b"0.0000000001", b"65536", b"1e6", b"")  # fmt: skip
_ODD_WORDS = (0, 1, 0x7F, 0xFF, 0x7FFF, 0xFFFF, 0x7FFFFFFF, 0x80000000, 0xFFFFFFFF, 0x7F800000, 0x7FC00000)


def _flip(data: bytearray, dice: random.Random) -> None:
    for _ in range(dice.randint(1, 8)):
        data[dice.randrange(len(data))] ^= 1 << dice.randrange(8)


def _cut(data: bytearray, dice: random.Random) -> None:
    at = dice.randrange(len(data))
    del data[at : at + dice.choice((1, 2, 4, 12, 50, 400, len(data)))]


def _double(data: bytearray, dice: random.Random) -> None:
    at, size = dice.randrange(len(data)), dice.choice((1, 4, 12, 50, 400))
    data[at:at] = data[at : at + size] * dice.choice((1, 2, 30))


def _move(data: bytearray, dice: random.Random) -> None:
    a, size = dice.randrange(len(data)), dice.choice((4, 12, 50, 200))
    piece = data[a : a + size]
    del data[a : a + size]
    at = dice.randrange(len(data) + 1)
    data[at:at] = piece


def _words(data: bytearray, dice: random.Random) -> None:
    if len(data) >= 4:
        at = dice.randrange(len(data) - 3)
        data[at : at + 4] = struct.pack(dice.choice("<>") + "I", dice.choice(_ODD_WORDS))


def _numbers(data: bytearray, dice: random.Random) -> None:
    found = list(_NUMBER.finditer(bytes(data[:20_000])))
    for one in sorted(dice.sample(found, min(len(found), dice.randint(1, 3))), key=lambda x: -x.start()):
        data[one.start() : one.end()] = dice.choice(_ODD_NUMBERS)


def _lines(data: bytearray, dice: random.Random) -> None:
    lines = bytes(data).split(b"\n")
    for _ in range(dice.randint(1, 4)):
        a, b = dice.randrange(len(lines)), dice.randrange(len(lines))
        match dice.randrange(3):
            case 0:
                lines[a], lines[b] = lines[b], lines[a]
            case 1:
                lines[a] = lines[b]
            case _:
                lines.insert(a, lines[b])
    data[:] = b"\n".join(lines)


_WAYS: tuple[Callable[[bytearray, random.Random], None], ...] = (
    _flip, _cut, _double, _move, _words, _numbers, _numbers, _lines,
)  # fmt: skip


def damaged(seed: bytes, other: bytes, dice: random.Random) -> bytes:
    """Return a damaged copy; now and then the end of another file is put to it. Zips are also damaged inside."""
    if seed[:2] == b"PK" and dice.random() < 0.8:
        return _inside_zip(seed, dice)
    data = bytearray(seed)
    if dice.random() < 0.1 and other:
        data[dice.randrange(len(data) + 1) :] = other[dice.randrange(len(other)) :]
    for _ in range(dice.choice((1, 1, 1, 2, 3, 6))):
        if data:
            dice.choice(_WAYS)(data, dice)
    return bytes(data[: 4 * LARGEST_SEED])


def _inside_zip(seed: bytes, dice: random.Random) -> bytes:
    try:
        with zipfile.ZipFile(io.BytesIO(seed)) as file:
            members = [(x, file.read(x)) for x in file.namelist()]
    except (zipfile.BadZipFile, zlib.error, OSError, NotImplementedError, RuntimeError, EOFError, ValueError):
        return damaged(b"\0" + seed, b"", dice)
    made = io.BytesIO()
    chosen = max(range(len(members)), key=lambda n: len(members[n][1]) * dice.random()) if members else 0
    with zipfile.ZipFile(made, "w", zipfile.ZIP_DEFLATED) as file:
        for number, (name, data) in enumerate(members):
            file.writestr(name, damaged(data, b"", dice) if number == chosen and data else data)
    return made.getvalue()


def seeds(repository: Path) -> dict[str, list[bytes]]:
    """Files to begin with, by reader: made here, the rules' fixtures, the demo's, the open corpus where it is there."""
    found: dict[str, list[bytes]] = {x: [] for x in READERS}
    for ending, data in _made():
        found[ending].append(data)
    places = [repository / "rules", repository.parent / "shared" / "corpus" / "open"]
    for place in places:
        for path in sorted(place.rglob("*")) if place.is_dir() else ():
            ending = path.suffix.lower().lstrip(".").replace("stp", "step")
            if ending in found and path.stat().st_size <= LARGEST_SEED and len(found[ending]) < 120:
                found[ending].append(path.read_bytes())
    return found


def _made() -> Iterator[tuple[str, bytes]]:
    vertices, faces = meshfiles.box()
    mesh = meshfiles.mesh_xml(vertices, faces)
    yield "stl", meshfiles.binary_stl(vertices, faces)
    yield "stl", meshfiles.ascii_stl(vertices, faces).encode()
    yield "obj", meshfiles.obj(vertices, [*meshfiles.QUADS, *faces.tolist()], name="part").encode()
    for form in ("ascii", "binary_little_endian", "binary_big_endian"):
        yield "ply", meshfiles.ply(vertices, [*meshfiles.QUADS, *faces.tolist()], form=form)
    yield "3mf", meshfiles.threemf(meshfiles.model_xml(f'<object id="1">{mesh}</object>', '<item objectid="1"/>'))
    yield "glb", meshfiles.glb(*meshfiles.gltf_root(vertices, faces))
    yield "glb", meshfiles.gltf(*meshfiles.gltf_root(vertices, faces))
    yield "step", _step()


def _step() -> bytes:
    """A block with a hole, as STEP AP214."""
    import tempfile

    from build123d import Box, Cylinder, export_step

    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "block.step"
        export_step(Box(20, 10, 5) - Cylinder(2, 10), str(path))
        return path.read_bytes()


class Corpus:
    """Seeds, and what was found on the way: a file with an outcome of a new kind is worth damaging further."""

    def __init__(self, seeds: Iterable[bytes], number: int) -> None:
        self.files = list(seeds)
        self.dice = random.Random(number)
        self._kinds: set[str] = set()

    def next(self) -> bytes:
        """A damaged file."""
        seed = self.files[self.dice.randrange(len(self.files))]
        return damaged(seed, self.dice.choice(self.files), self.dice)

    def learn(self, data: bytes, outcome: str) -> bool:
        """Keep a file whose outcome is of a kind not met before. Numbers and names in it do not count."""
        kind = re.sub(r"['\"].*?['\"]|-?\d[\d.,e+-]*", "#", outcome)
        if kind in self._kinds:
            return False
        self._kinds.add(kind)
        if len(data) <= LARGEST_SEED:
            self.files.append(data)
        return True

    @property
    def kinds(self) -> int:
        """How many kinds of outcome were met."""
        return len(self._kinds)
