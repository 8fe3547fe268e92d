"""What a rule sees of a part: the part, the choices, and measurements made once, on first use."""

from __future__ import annotations

from functools import cached_property
from typing import TYPE_CHECKING

# For the type checker only: importing the rule API must not load numpy (listing rules takes no geometry).
if TYPE_CHECKING:
    from lintsvc.measure.bend_measurements import BendMeasurements
    from lintsvc.measure.bodies import BodyMeasurements
    from lintsvc.measure.flats import FlatMeasurements
    from lintsvc.measure.fold import Folded
    from lintsvc.measure.fold_collide import PanelCollision
    from lintsvc.measure.fold_order import BendOrder
    from lintsvc.measure.meant_sheet import MeantSheet
    from lintsvc.measure.threads import ScrewHoles
    from lintsvc.model.choices import Choices, Cut
    from lintsvc.model.material import Material
    from lintsvc.model.part import Part
    from lintsvc.model.sheet import Sheet
    from lintsvc.rulebook.measured import Measured, What
    from lintsvc.rulebook.rule import About


class Checked:
    """A part under check. Two rules that need one measurement cause it once."""

    def __init__(self, part: Part, choices: Choices, material: Material | None = None) -> None:
        self.part = part
        self.choices = choices
        self.material = material
        #: What sizes of earlier parts came out at, as the shop's file has it.
        self.measured: tuple[Measured, ...] = ()

    def came_out(self, what: What) -> Measured | None:
        """Return what such sizes came out at in this process and material; None where nobody measured any."""
        from lintsvc.rulebook.measured import closest

        rows = [x for x in self.measured if x.what == what]
        return closest(rows, self.choices.process, self.choices.material, None)

    @property
    def thickness_mm(self) -> float | None:
        """Sheet thickness: from the file's own solid, else as the user said; None when not known."""
        sheet: Sheet | None = self.part.sheet
        if sheet is not None and sheet.thickness_mm is not None:
            return sheet.thickness_mm
        return self.choices.thickness_mm

    @property
    def cut(self) -> Cut:
        """How a sheet part is cut: as the user said, else by laser."""
        return self.choices.cut or "laser"

    @cached_property
    def body(self) -> BodyMeasurements:
        """Measurements of the triangle mesh. Only for parts that have one."""
        from lintsvc.measure.bodies import BodyMeasurements

        if self.part.body is None:
            raise ValueError("this part has no body")
        return BodyMeasurements(self.part.body)

    @cached_property
    def flat(self) -> FlatMeasurements:
        """Measurements of the flat. Only for parts that have one."""
        from lintsvc.measure.flats import FlatMeasurements

        if self.part.sheet is None:
            raise ValueError("this part has no flat")
        return FlatMeasurements(self.part.sheet, self.choices, self.material)

    @cached_property
    def outlined(self) -> FlatMeasurements:
        """The flat, for rules that must know what is part and what is cut out. Raises CannotCheck where it is not."""
        from lintsvc.rulebook.rule import CannotCheck

        if self.flat.unsure:
            raise CannotCheck(self.flat.unsure)
        return self.flat

    @cached_property
    def meant(self) -> MeantSheet:
        """The flat with broken outlines bridged. Raises CannotCheck where even so no outline is known."""
        from lintsvc.measure.meant_sheet import meant_sheet
        from lintsvc.rulebook.rule import CannotCheck

        sheet = meant_sheet(self.flat)
        if sheet.why_not:
            raise CannotCheck(sheet.why_not)
        return sheet

    @cached_property
    def bending(self) -> BendMeasurements:
        """Measurements of the flat's bends. Only for sheet of a known thickness; raises CannotCheck as `meant`."""
        from lintsvc.measure.bend_measurements import BendMeasurements

        if self.thickness_mm is None:
            raise ValueError("this part has no thickness")
        return BendMeasurements(self.flat.bends, self.meant, self.thickness_mm, self.material)

    @cached_property
    def folded(self) -> Folded:
        """The flat folded to the part it becomes. Only for sheet of a known thickness; raises CannotCheck."""
        from lintsvc.measure.fold_flat import fold_flat
        from lintsvc.measure.fold_zones import NotFolded
        from lintsvc.rulebook.rule import CannotCheck

        try:
            return fold_flat(self.flat, self.thickness_mm)
        except NotFolded as error:
            raise CannotCheck(f"the flat is not folded: {error.why}") from None

    @cached_property
    def panel_collisions(self) -> list[PanelCollision]:
        """Panels of the folded part that run into each other. Raises CannotCheck as `folded`."""
        from lintsvc.measure.fold_collide import collisions

        return collisions(self.folded)

    @cached_property
    def bend_order(self) -> BendOrder:
        """An order in which common tools make the bends, or what stood in the way. Raises CannotCheck as `folded`."""
        from lintsvc.measure.fold_order import bend_order

        return bend_order(self.folded)

    @cached_property
    def screws(self) -> ScrewHoles:
        """Tapped and countersunk holes of the flat. Raises CannotCheck as `meant`."""
        from lintsvc.measure.threads import ScrewHoles

        return ScrewHoles(self.flat.sheet.entities, self.meant, self.choices)

    def has(self, what: About) -> bool:
        """True when the flat has any bends, tapped holes, countersinks. Raises CannotCheck as `meant`."""
        if what == "bends":
            return bool(self.flat.bends)
        return bool(self.screws.tapped if what == "threads" else self.screws.countersunk)
