"""The folded part is not the size that was meant."""

from __future__ import annotations

from collections.abc import Iterator

from lintsvc.rulebook import COMMON_PRACTICE, Checked, Hit, Limit, Where, rule


@rule(
    id="bend/size-after-bending",
    process="sheet",
    kind="sheet",
    level="warning",
    since="0.1",
    message="Folded, the part is {size} mm outside; {meant} mm was meant. It is off by {measured}.",
    remedy="Check the inside radius and the K-factor ({k}), or make the flat again from the finished size: "
    "outside sizes less one bend deduction a bend.",
    limits=(Limit("any", 0.5, "mm", COMMON_PRACTICE),),
    worse="above",
    needs=("thickness",),
    about="bends",
)
def size_after_bending(part: Checked, limit: float) -> Iterator[Hit]:
    """Finished size that does not agree with the flat.

    A flat drawn at the sum of the outside sizes comes out too large by a bend deduction a bend; one drawn for
    another radius or K-factor is off by less. Neither is seen in the flat.

    Measured: outside length, width and height of the folded part, largest panel lying flat, against the
    finished size as it was stated, both sorted by size; half a millimetre is let pass.
    Ignore when: the stated size was measured in another way, such as to the middle of the sheet.
    """
    meant = part.choices.finished_size_mm
    if meant is None:
        return
    size = sorted(part.folded.finished_size_mm, reverse=True)
    wanted = sorted(meant, reverse=True)
    off = max((abs(a - b) for a, b in zip(size, wanted, strict=True)), default=0.0)
    if off > limit + 0.01:
        zones = part.bending.zones
        k = sorted({f"{zone.k:.3g}" for zone in zones})
        x, y = part.flat.flat_mm
        cx, cy = part.flat.centre_mm
        yield Hit(
            off,
            Where((cx, cy, 0.0), ((cx - x / 2, cy - y / 2, 0.0), (cx + x / 2, cy + y / 2, 0.0))),
            words={"size": _three(size), "meant": _three(wanted), "k": ", ".join(k)},
            sure=min((zone.sure for zone in zones), default=1.0),
        )


def _three(size: list[float]) -> str:
    return " × ".join(f"{x:.2f}".rstrip("0").rstrip(".") for x in size)
