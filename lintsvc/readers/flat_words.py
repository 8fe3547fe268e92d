"""What the user says of a drawing's lines, held against each of them."""

from __future__ import annotations

from lintsvc.model.line_choice import LineChoice, first_fit
from lintsvc.readers.flat_said import BendSaid


class UsersWord:
    """The user's choices, and which entities each was about. Contains the numbers of those entities."""

    def __init__(self, choices: tuple[LineChoice, ...]) -> None:
        self.choices = choices
        self._of: dict[int, LineChoice] = {}
        # A drawing has many entities of few kinds.
        self._known: dict[tuple[str, str, str, int | None], LineChoice | None] = {}

    def __contains__(self, entity: int) -> bool:
        return entity in self._of

    def about(self, entity: int, layer: str, line_type: str, rgb: str, colour: int | None) -> LineChoice | None:
        """Return what the user says of an entity, None for nothing."""
        if not self.choices:
            return None
        key = (layer, line_type, rgb, colour)
        if key not in self._known:
            self._known[key] = first_fit(self.choices, *key)
        found = self._known[key]
        if found is not None:
            self._of[entity] = found
        return found

    def of_bends(self) -> dict[int, BendSaid]:
        """Return what is said of bends, by entity."""
        return {n: BendSaid(x.angle_deg, x.direction, x.radius_mm) for n, x in self._of.items() if x.role == "bend"}

    def unused(self) -> list[LineChoice]:
        """Return the choices that nothing in the drawing fits."""
        used = set(self._of.values())
        return [x for x in self.choices if x not in used]
