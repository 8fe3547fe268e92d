"""One picture of a part with its findings: as SVG without script, or as a drawing that a PDF can hold too."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from lintsvc.model.finding import Finding
from lintsvc.model.part import Part
from lintsvc.reports.sketch import Sketch


@dataclass(frozen=True)
class Pictures:
    """What a report shows of a part: all of it, and places near to, by the finding's number in the list."""

    whole: Sketch | None = None
    close: Mapping[int, Sketch] = field(default_factory=dict)


NO_PICTURES = Pictures()


@dataclass(frozen=True)
class Svgs:
    """The same as SVG texts, for a report that is read in a browser."""

    whole: str | None = None
    close: Mapping[int, str] = field(default_factory=dict)


def svgs_of(part: Part, findings: Sequence[Finding], *, close: bool = True) -> Svgs:
    """Return the pictures of a part as SVG; without those near to findings where they are not wanted."""
    from lintsvc.reports.sketch import to_svg

    near = close_ups(part, findings) if close else {}
    return Svgs(picture_svg(part, findings), {number: to_svg(sketch) for number, sketch in near.items()})


def pictures_of(part: Part, findings: Sequence[Finding]) -> Pictures:
    """Return the pictures of a part."""
    return Pictures(picture_sketch(part, findings), close_ups(part, findings))


def picture_svg(part: Part, findings: Sequence[Finding]) -> str | None:
    """Return the picture: the flat of a sheet part, else the body; None for a part with neither."""
    if part.sheet is not None and part.kind == "sheet":
        from lintsvc.reports.highlights_svg import write_svg

        return write_svg(part.sheet, findings)
    if part.body is not None and len(part.body.faces):
        from lintsvc.reports.picture_body import body_svg

        return body_svg(part.body, findings)
    return None


def picture_sketch(part: Part, findings: Sequence[Finding] = ()) -> Sketch | None:
    """Return the same picture for a page: `sketch.flowable` puts it into a PDF, `sketch.to_svg` writes it as SVG."""
    if part.sheet is not None and part.kind == "sheet":
        from lintsvc.reports.picture_flat import flat_sketch

        return flat_sketch(part.sheet, findings)
    if part.body is not None and len(part.body.faces):
        from lintsvc.reports.picture_body import body_sketch

        return body_sketch(part.body, findings)
    return None


#: So many findings of a part get a picture of their own, the worst first; and so many of one rule, as they look alike.
MOST_CLOSE_UPS, MOST_OF_A_RULE = 8, 3


def close_ups(part: Part, findings: Sequence[Finding]) -> dict[int, Sketch]:
    """Return pictures near to findings, by their number in the list, from 1; none for what was set aside."""
    found: dict[int, Sketch] = {}
    rules: Counter[str] = Counter()
    for number, finding in enumerate(findings, 1):
        if len(found) >= MOST_CLOSE_UPS:
            break
        if finding.set_aside or finding.where is None or rules[finding.rule] >= MOST_OF_A_RULE:
            continue
        sketch = _close_up(part, number, finding)
        if sketch is not None:
            found[number] = sketch
            rules[finding.rule] += 1
    return found


def _close_up(part: Part, number: int, finding: Finding) -> Sketch | None:
    if part.sheet is not None and part.kind == "sheet":
        from lintsvc.reports.picture_flat import flat_close

        return flat_close(part.sheet, number, finding)
    if part.body is not None and len(part.body.faces):
        from lintsvc.reports.picture_body import body_close

        return body_close(part.body, number, finding)
    return None
