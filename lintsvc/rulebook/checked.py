"""What a rule sees of a part: the part, the choices, and measurements made once, on first use."""

from __future__ import annotations

from functools import cached_property
from typing import TYPE_CHECKING

# For the type checker only: importing the rule API must not load numpy (listing rules takes no geometry).
if TYPE_CHECKING:
    from lintsvc.measure.bodies import BodyMeasurements
    from lintsvc.measure.flats import FlatMeasurements
    from lintsvc.model.choices import Choices
    from lintsvc.model.material import Material
    from lintsvc.model.part import Part
    from lintsvc.model.sheet import Sheet


class Checked:
    """A part under check. Two rules that need one measurement cause it once."""

    def __init__(self, part: Part, choices: Choices, material: Material | None = None) -> None:
        self.part = part
        self.choices = choices
        self.material = material

    @property
    def thickness_mm(self) -> float | None:
        """Sheet thickness: from the file's own solid, else as the user said; None when not known."""
        sheet: Sheet | None = self.part.sheet
        if sheet is not None and sheet.thickness_mm is not None:
            return sheet.thickness_mm
        return self.choices.thickness_mm

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
