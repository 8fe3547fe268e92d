"""Fingerprints survive what is no change of the part: for planted faults, at least 99 of 100."""

from __future__ import annotations

import math
import random
import struct
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from parts import flatfiles, meshfiles, planted_brackets, planted_flats, reports
from parts.bodies import Mesh, rotation
from parts.planted_bodies import BASES, FAULTS, fits, plant, variant

from lintsvc.model.choices import Choices
from lintsvc.model.finding import Quantity, Where
from lintsvc.model.part import Part
from lintsvc.model.sheet import Arc, Circle, Line, Point2, Polyline, Shape, Sheet
from lintsvc.rulebook.check import check_file, check_part
from lintsvc.rulebook.checked import Checked
from lintsvc.rulebook.fingerprint import Fingerprinter
from lintsvc.rulebook.packs import load_packs
from lintsvc.rulebook.rule import Rule

RULES: dict[str, Rule] = {rule.id: rule for pack in load_packs(installed=False) for rule in pack.rules}


def stl(mesh: Mesh) -> bytes:
    vertices, faces = mesh
    records = np.zeros((len(faces), 50), np.uint8)
    records[:, 12:48] = vertices[faces].astype("<f4").reshape(len(faces), 9).view(np.uint8)
    return b"\0" * 80 + struct.pack("<I", len(faces)) + records.tobytes()


#: A part written otherwise, by the seed that its fault was planted with.
WRITTEN: dict[str, Callable[[Mesh, int], tuple[str, bytes]]] = {
    "other format": lambda mesh, seed: ("a.obj", meshfiles.obj(mesh[0], [tuple(x) for x in mesh[1].tolist()]).encode()),
    "moved": lambda mesh, seed: ("a.stl", stl((mesh[0] + SHIFT, mesh[1]))),
    "third format": lambda mesh, seed: ("a.ply", meshfiles.ply(mesh[0], mesh[1].tolist(), kind="double")),
    "turned": lambda mesh, seed: ("a.stl", stl((mesh[0] @ rotation(seed + 100).T + SHIFT, mesh[1]))),
    "other triangles": lambda mesh, seed: ("a.stl", stl(variant(mesh, seed + 1))),
}
SHIFT = np.array([13.7, -4.2, 55.1])


def test_fingerprints_of_bodies_survive(tmp_path: Path) -> None:
    kept: Counter[str] = Counter()
    count: Counter[str] = Counter()
    lost = []
    choices = Choices(process="powder-bed", material="pa12", units="mm")

    def found(rule: str, name: str, data: bytes) -> Counter[str]:
        (tmp_path / name).write_bytes(data)
        return Counter(x.fingerprint for x in check_file(tmp_path / name, choices, [RULES[rule]]).report.findings)

    planted = [(base, fault) for base in BASES for fault in FAULTS if fits(base, fault)]
    for number, (base, fault) in enumerate(planted):
        made = plant(base, fault, 1)
        before = found(made.rule, "a.stl", stl(made.mesh))
        # Three of the five ways each in turn: every fault and every base meets all of them.
        for way in [list(WRITTEN)[(number + x) % len(WRITTEN)] for x in range(3)]:
            after = found(made.rule, *WRITTEN[way](made.mesh, 1))
            count[way] += before.total()
            kept[way] += (before & after).total()
            lost += [] if after == before else [f"{made.rule} {base} {way}"]
    assert set(count) == set(WRITTEN) and all(x >= 40 for x in count.values()), count
    assert all(kept[way] >= 0.99 * count[way] for way in count), lost


def shuffled(sheet: Sheet, seed: int) -> Sheet:
    entities = list(sheet.entities)
    random.Random(seed).shuffle(entities)
    return replace(sheet, entities=tuple(replace(x, number=number) for number, x in enumerate(entities)))


def rounded(sheet: Sheet) -> Sheet:
    """The sheet as a program writes it that rounds to 0.0001 mm."""

    def near(point: Point2) -> Point2:
        return round(point[0], 4), round(point[1], 4)

    def shape(x: Shape) -> Shape:
        match x:
            case Line(start, end):
                return Line(near(start), near(end))
            case Arc(centre, radius, start_deg, end_deg):
                return Arc(near(centre), round(radius, 4), round(start_deg, 4), round(end_deg, 4))
            case Circle(centre, radius):
                return Circle(near(centre), round(radius, 4))
            case _:
                return Polyline(tuple(near(p) for p in x.points))

    return replace(sheet, entities=tuple(replace(x, shapes=tuple(map(shape, x.shapes))) for x in sheet.entities))


def part_of(made: Any) -> tuple[Part, Choices]:
    part = made.part()
    return (part[0] if isinstance(part, tuple) else part), made.choices()


def flats(seed: int) -> Iterator[tuple[str, dict[str, tuple[Part, Choices]]]]:
    for module in (planted_flats, planted_brackets):
        for rule, plants in module.PLANTS.items():
            for each in plants:
                made: Any = each(module.good(seed), random.Random(seed))[0]
                part, choices = part_of(made)
                assert part.sheet is not None
                moved = replace(made, shift=(made.shift[0] + 123.4, made.shift[1] - 55.1))
                turned = replace(made, turn_deg=made.turn_deg + 37.3, shift=(7.0, -3.0))
                yield (
                    rule,
                    {
                        "as it is": (part, choices),
                        "other order": (replace(part, sheet=shuffled(part.sheet, seed)), choices),
                        "rounded": (replace(part, sheet=rounded(part.sheet)), choices),
                        "moved": part_of(moved),
                        "turned": part_of(turned),
                    },
                )


def as_dxf(sheet: Sheet) -> bytes:
    """The sheet's cut lines as one program writes them: an entity for each."""
    text = ""
    for shape in (x for entity in sheet.entities for x in entity.shapes):
        match shape:
            case Line(start, end):
                text += flatfiles.line(start, end)
            case Circle(centre, radius):
                text += flatfiles.circle(*centre, radius)
            case Arc(centre, radius, start_deg, end_deg):
                text += flatfiles.entity(
                    "ARC", (10, centre[0]), (20, centre[1]), (40, radius), (50, start_deg), (51, end_deg)
                )
            case _:
                text += flatfiles.polyline(shape.points, closed=False)
    return flatfiles.dxf(text).encode()


def as_svg(sheet: Sheet) -> bytes:
    """The same as another program writes them: SVG in mm, y downwards, paths."""
    body = ""
    for shape in (x for entity in sheet.entities for x in entity.shapes):
        match shape:
            case Circle((x, y), radius):
                body += f'<circle cx="{x!r}" cy="{-y!r}" r="{radius!r}" fill="none" stroke="black"/>'
                continue
            case Line(start, end):
                path = f"M{start[0]!r} {-start[1]!r} L{end[0]!r} {-end[1]!r}"
            case Arc((x, y), radius, start_deg, end_deg):
                ends = [
                    (x + radius * math.cos(a), -y - radius * math.sin(a))
                    for a in map(math.radians, (start_deg, end_deg))
                ]
                large = int((end_deg - start_deg) % 360 > 180)
                path = (
                    f"M{ends[0][0]!r} {ends[0][1]!r} A{radius!r} {radius!r} 0 {large} 0 {ends[1][0]!r} {ends[1][1]!r}"
                )
            case _:
                path = "M" + " L".join(f"{x!r} {-y!r}" for x, y in shape.points)
        body += f'<path d="{path}" fill="none" stroke="black"/>'
    return flatfiles.svg(body, 'width="2000mm" height="2000mm" viewBox="-1000 -1000 2000 2000"').encode()


def only_cut(sheet: Sheet) -> bool:
    """True for a flat that is nothing but cut lines: other lines are told apart in other ways in each format."""
    return all(x.role == "cut" and x.shapes and not x.text for x in sheet.entities)


def test_fingerprints_of_flats_survive_another_format(tmp_path: Path) -> None:
    kept = count = 0
    lost = []
    rules: set[str] = set()
    for seed in (1, 2, 3):
        for rule, ways in flats(seed):
            part, choices = ways["as it is"]
            assert part.sheet is not None
            if not only_cut(part.sheet):
                continue
            found = []
            for name, data in (("a.dxf", as_dxf(part.sheet)), ("a.svg", as_svg(part.sheet))):
                (tmp_path / name).write_bytes(data)
                report = check_file(tmp_path / name, replace(choices, units="mm"), [RULES[rule]]).report
                found.append(Counter(x.fingerprint for x in report.findings))
            if found[0]:
                rules.add(rule)
            count += found[0].total()
            kept += (found[0] & found[1]).total()
            lost += [] if found[0] == found[1] else [f"{rule} {seed}"]
    assert count >= 100 and len(rules) >= 15, (count, rules)
    assert kept >= 0.99 * count, lost


def test_fingerprints_of_flats_survive() -> None:
    kept: Counter[str] = Counter()
    count: Counter[str] = Counter()
    lost = []
    for seed in (1, 2):
        for rule, ways in flats(seed):
            found = {
                way: Counter(x.fingerprint for x in check_part(part, choices, [RULES[rule]]).report.findings)
                for way, (part, choices) in ways.items()
            }
            for way in list(ways)[1:]:
                count[way] += found["as it is"].total()
                kept[way] += (found["as it is"] & found[way]).total()
                lost += [] if found[way] == found["as it is"] else [f"{rule} {seed} {way}"]
    assert all(x >= 100 for x in count.values()), count
    assert all(kept[way] >= 0.99 * count[way] for way in count), lost


def of(rule: str, value: float | None, point: tuple[float, float, float], *, part: Part | None = None) -> str:
    prints = Fingerprinter(Checked(part or reports.housing_part(), Choices(process="powder-bed")))
    measured = None if value is None else Quantity(value, "mm")
    return prints.of(rule, measured, Where(point, (point, point)))


@pytest.mark.parametrize(
    "other",
    [
        ("powder-bed/thin-wall", 0.6, (25.0, 20.0, 6.0)),
        ("powder-bed/narrow-gap", 0.5, (25.0, 20.0, 6.0)),
        ("powder-bed/thin-wall", None, (25.0, 20.0, 6.0)),
        ("powder-bed/thin-wall", -0.5, (25.0, 20.0, 6.0)),
        ("powder-bed/thin-wall", 0.0, (25.0, 20.0, 6.0)),
        ("powder-bed/thin-wall", 0.5, (45.0, 35.0, 12.0)),
    ],
)
def test_another_rule_value_or_place_is_another_fingerprint(
    other: tuple[str, float | None, tuple[float, float, float]],
) -> None:
    assert of("powder-bed/thin-wall", 0.5, (25.0, 20.0, 6.0)) != of(*other)


def test_alike_ones_are_counted_off() -> None:
    prints = Fingerprinter(Checked(reports.housing_part(), Choices(process="powder-bed")))
    where = Where((25.0, 20.0, 6.0), ((25.0, 20.0, 6.0),) * 2)
    assert len({prints.of("a/b", Quantity(0.5, "mm"), where) for _ in range(5)}) == 5


def test_round_value_is_not_on_the_edge_of_a_step() -> None:
    for value in (0.1, 0.5, 0.8, 1.0, 1.5, 2.0, 3.0, 5.0, 10.0, 90.0):
        assert len({of("a/b", value * (1 + x), (25.0, 20.0, 6.0)) for x in (-1e-3, 0.0, 1e-3)}) == 1
