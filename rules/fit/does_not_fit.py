from collections.abc import Iterator

from lintsvc.rulebook import GEOMETRY, CannotCheck, Hit, Source, rule, where_of_spot

WANTED = Source("shop", "The play that the order asks for.")
TOLERANCE = (
    "{thing} has {drawn} mm of play to each side in {part} as drawn; after what the process and the thing itself may "
    "be off, {measured} are left, and {limit} is wanted. {off}"
)
PRESS = (
    "{a} is pressed into {b} by {drawn} mm on a side as drawn; what both may be off leaves {measured} of it, "
    "and {limit} is wanted: some will be loose."
)
SLIDES = "{a} and {b} are {measured} apart {when}, tolerances taken off; {limit} is wanted."
NO_WAY = (
    "{thing} has room where it lies in {part}, but no straight way leads there: even the best along its own axes is "
    "{narrow} mm too narrow on a side."
)
LOOSE = "{a} is to be pressed into {b}, and they are {measured} apart: nothing holds."


@rule(
    id="fit/does-not-fit",
    process="any",
    kind="order",
    level="error",
    since="0.2",
    message="{thing} does not go into {part}: at the best place it is {deep} mm too large on a side.",
    remedy="Widen the place by {wider} mm on a side, or choose a smaller thing.",
    sources=(GEOMETRY,),
    worse="below",
    impossible=True,
)
def check(order) -> Iterator[Hit]:
    """Bought-in thing that does not go into its place, or with less play than wanted.

    A box that is a tenth too large does not slide in, and the print is scrap. Printed and bent places come out off by
    their tolerance, and so does the thing.

    Measured: the least distance between the thing's envelope and the part in the pose with most clearance near where it
    lies, less half of the ± of the place and of the thing; against the play the order wants. And whether it can be
    moved out of there along one of its own axes. Of things that stay clear, the gap between them as they stand, of what
    slides, the least on its whole travel where the order says one, of what is pressed, how far they overlap, each less
    half of the ± of both.
    Ignore when: the part gives way, the place is cut to size by hand, or the thing is tilted in.
    """
    unknown = []
    for held in order.held:
        if held.place is None:
            unknown.append(held.why)
            continue
        part, thing = held.relation.part, held.relation.thing
        words = {
            "part": part,
            "thing": thing,
            "drawn": f"{held.clearance_mm:.2f}",
            "deep": f"{-held.clearance_mm:.2f}",
            "wider": f"{held.relation.play - held.left_mm:.2f}",
            "off": "" if held.loss_source is None else held.loss_source.text,
        }
        if held.left_mm < held.relation.play - 1e-6:
            too_large = held.clearance_mm < -1e-6
            yield Hit(
                round(held.left_mm, 3),
                where_of_spot(held.at),
                limit=held.relation.play,
                limit_source=WANTED,
                words=words,
                level="error" if too_large else "warning",
                message=None if too_large else TOLERANCE,
                parts=(part, thing),
            )
        elif held.way_in_mm < -0.02:
            yield Hit(
                held.way_in_mm if held.way_in_mm > -100 else None,
                where_of_spot(held.at),
                limit=0.0,
                words={**words, "narrow": f"{-held.way_in_mm:.2f}" if held.way_in_mm > -100 else "far"},
                sure=0.8,
                level="warning",
                message=NO_WAY,
                remedy="Open a way in that is as wide as the thing, or split the part.",
                parts=(part, thing),
            )
    for apart in order.apart:
        a, b = apart.relation.a, apart.relation.b
        if apart.gap_mm is None:
            unknown.append(apart.why)
            continue
        wanted = apart.relation.play or 0.0
        when = "as they stand"
        if apart.along_mm is not None:
            when = f"when {b} has slid {apart.along_mm:.1f} mm"
        words = {"a": a, "b": b, "wider": f"{wanted - apart.left_mm:.2f}", "when": when}
        spot = where_of_spot(order.things[a].shape.middle)
        if apart.relation.kind == "presses":
            if apart.gap_mm > 1e-6:
                tighter = "Make one of them larger, so that they overlap by what the press needs."
                found = Hit(apart.gap_mm, spot, limit=0.0, words=words, message=LOOSE, remedy=tighter, parts=(a, b))
                yield found
            elif apart.left_mm < wanted - 1e-6:
                words["drawn"] = f"{-apart.gap_mm:.2f}"
                ream = "Make one of them larger by {wider} mm on a side, or have the hole reamed to size."
                left = round(apart.left_mm, 3)
                yield Hit(
                    left,
                    spot,
                    limit=wanted,
                    limit_source=WANTED,
                    words=words,
                    level="warning",
                    message=PRESS,
                    remedy=ream,
                    parts=(a, b),
                )
        elif apart.left_mm < wanted - 1e-6:
            yield Hit(
                round(apart.left_mm, 3),
                spot,
                limit=wanted,
                limit_source=WANTED,
                words=words,
                level="error" if apart.gap_mm <= 0 else "warning",
                message=SLIDES,
                remedy="Give them {wider} mm more room.",
                parts=(a, b),
            )
    if unknown:
        raise CannotCheck("; ".join(dict.fromkeys(unknown)))
