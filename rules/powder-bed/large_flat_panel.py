from collections.abc import Iterator

from lintsvc.rulebook import COMMON_PRACTICE, Checked, Hit, Limit, Limits, Source, rule

PANEL = Source(
    "common-practice",
    "Common practice, no standard states it: panels over 150 to 200 mm long and under 2 to 3 mm thick warp; "
    "length over thickness above about 80.",
)

#: A strip narrower than this is no panel.
NARROWEST_MM = 30.0


@rule(
    id="powder-bed/large-flat-panel",
    process="powder-bed",
    kind="body",
    level="warning",
    since="0.1",
    message="Flat panel {length} x {breadth} mm, {thickness} mm thick: its length is {measured} times its thickness; "
    "over {limit} it warps.",
    remedy="Thicken it, add ribs or a rim, curve it slightly, or cut it from sheet. Ask how it lies in the build: "
    "aslant or on edge it warps less.",
    limits=(
        Limit("any", 80.0, "ratio", PANEL),
        Limit("any", 150.0, "mm", PANEL, name="length"),
        Limit("any", 3.0, "mm", PANEL, name="thickness"),
    ),
    sources=(COMMON_PRACTICE,),
    worse="above",
    cost="rework",
)
def check(part: Checked, limits: Limits) -> Iterator[Hit]:
    """Large thin flat panel.

    A large flat panel cools unevenly and lifts at its corners or bows. It warps most when it lies flat in
    the build; how it will lie is not known here.

    Measured: longest extent of a flat face over the thickness of the wall behind it, for panels over 150 mm
    long, 30 mm wide and up to 3 mm thick of which most has that thickness, to within a quarter.
    Ignore when: the panel is fixed to something flat and stiff, or may bow by a millimetre or more.
    """
    for panel in part.body.panels(limits["thickness"].value):
        ratio = panel.length_mm / panel.thickness_mm
        large = panel.length_mm > limits["length"].value and panel.breadth_mm > NARROWEST_MM
        if large and ratio > limits["limit"].value * 1.005:
            words = {
                "length": round(panel.length_mm, 1),
                "breadth": round(panel.breadth_mm, 1),
                "thickness": round(panel.thickness_mm, 2),
            }
            yield Hit(round(ratio, 1), panel.where(), words=words)
