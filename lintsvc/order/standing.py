"""What the assembly weighs, where its centre of gravity is, and how it stands on its feet."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from lintsvc.order.balance import Balance, Lump, balance
from lintsvc.order.closed_form import plate_or_ask, rest_points
from lintsvc.order.frames import Floats, moved
from lintsvc.order.screw_mass import screw_lumps
from lintsvc.rulebook.rule import CannotCheck

if TYPE_CHECKING:
    from lintsvc.order.checked import CheckedOrder


def mass_of(order: CheckedOrder) -> tuple[float, tuple[str, ...]]:
    """Return the mass of one of everything (several where several are placed), and the ids of unknown mass.

    With the screws and nuts of its relations, as estimated.
    """
    total, unknown = 0.0, []
    for id, thing in order.things.items():
        count = max(1, sum(x.id == id for x in order.placing.placed))
        if thing.mass_g is None:
            unknown.append(id)
        else:
            total += count * thing.mass_g
    total += sum(x.mass_g for x in order.screws)
    return total, tuple(unknown)


def lumps(order: CheckedOrder) -> list[Lump]:
    """Return every placed thing of known mass, and its screws, as lumps in the frame of the assembly."""
    found = []
    for each in order.placing.placed:
        thing = order.things[each.id]
        mass = thing.mass_g
        if mass is None or mass <= 0:
            continue
        x, y, z = moved(each.place, [thing.shape.middle])[0].tolist()
        found.append(Lump(each.id, mass, (x, y, z)))
    return [*found, *screw_lumps(order)] if found else found


def feet_of(order: CheckedOrder) -> Floats:
    """Return the points (n, 3) of all feet in the frame of the assembly: of each place in which their part stands."""
    found = []
    for rest in (x for x in order.order.rest if x.kind == "feet"):
        shape = order.things[rest.of].shape
        points = rest_points(shape, rest)
        for stands in (x for x in order.placing.placed if x.id == rest.of):
            here = moved(stands.place, points)
            if rest.along is not None:
                # The edge is that of the plate's middle surface; it stands on the face that looks down.
                plate = plate_or_ask(shape, rest.of)
                here[:, 2] -= abs(stands.place[2, plate.across]) * plate.thick_mm / 2
            found.append(here)
    return np.vstack(found)


def standing(order: CheckedOrder) -> Balance | str:
    """Return how the assembly stands on its feet, z up; a reason where that is not known."""
    rests = [x for x in order.order.rest if x.kind == "feet"]
    for rest in rests:
        if order.placing.of(rest.of) is None:
            return f"{rest.of}, which it rests on, is not placed: {order.placing.missing[rest.of]}"
    if not rests:
        return "no [[rest]] of kind feet says what it stands on"
    heavy = lumps(order)
    missing = [x for x in order.things if order.placing.of(x) is None]
    unknown = [x.id for x in order.things.values() if x.mass_g is None]
    if not heavy:
        return "no mass is known of what is placed"
    if missing or unknown:
        what = ", ".join(dict.fromkeys([*missing, *unknown]))
        return f"the mass or the place of {what} is not known, so neither is the centre of gravity"
    try:
        points = feet_of(order)
    except CannotCheck as why:
        return str(why)
    low = points[points[:, 2] < points[:, 2].min() + 1.0]
    try:
        return balance(heavy, low)
    except ValueError as why:
        return str(why)
