"""What an order says of a part, as the choices that a check takes."""

from __future__ import annotations

from lintsvc.handbook.gauges import with_gauge
from lintsvc.model.choices import Choices, CountersinkChoice, ThreadChoice
from lintsvc.model.choices_words import read_gauge, read_length_mm
from lintsvc.model.line_choice import line_choice
from lintsvc.model.sheet import Bend
from lintsvc.order.file import PartEntry


def choices_of(part: PartEntry) -> Choices:
    """Return the choices. A bend is named by one point, so it is a bend line of no length there.

    Raises BadChoice for a gauge that the material does not have.
    """
    thickness = part.thickness
    choices = Choices(
        process=part.process,
        material=part.material,
        thickness_mm=None if isinstance(thickness, str) else thickness,
        gauge=read_gauge(thickness) if isinstance(thickness, str) else None,
        units=part.units,
        finish=None if part.finish == "none" else part.finish,
        cut=part.cut,
        quantity=part.quantity,
        lines=tuple(line_choice(x, read_length_mm) for x in part.lines),
        bends=tuple(Bend(x.at, x.at, x.angle_deg, x.direction, x.radius, why="named in the order") for x in part.bends),
        threads=tuple(ThreadChoice(x.thread, x.at) for x in part.threads),
        countersinks=tuple(CountersinkChoice(x.screw, x.at, x.side) for x in part.countersinks),
        k_factor=part.k_factor,
        bend_radius_mm=part.bend_radius,
        finished_size_mm=part.finished_size,
    )
    return with_gauge(choices)
