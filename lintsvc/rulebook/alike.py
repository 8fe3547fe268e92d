"""Places that are alike, as in a pattern of holes: one cause, told once."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import TypeVar

from lintsvc.model.finding import Where

#: From so many places on they are a pattern; two may differ in what is done about them.
_PATTERN = 3
#: Lengths within this factor are alike: what sampling and facets move.
_ALIKE = 1.01
#: How far a thin place reaches is known less well where it fades out: by this factor.
_ABOUT = 1.5

T = TypeVar("T")


def patterns(
    found: Sequence[T],
    traits: Callable[[T], tuple[float, ...]],
    kind: Callable[[T], object],
    about: Callable[[T], tuple[float, ...]] = lambda _: (),
) -> list[list[T]]:
    """Group what is of one kind and has the same traits, in the order of the first of each group.

    `about`: traits that are only about the same. Of fewer alike than make a pattern each is a group of its own.
    """
    groups: list[list[T]] = []
    for one in found:
        for group in groups:
            same = kind(group[0]) == kind(one) and _near(traits(group[0]), traits(one), _ALIKE)
            if same and _near(about(group[0]), about(one), _ABOUT):
                group.append(one)
                break
        else:
            groups.append([one])
    first = {id(one): i for i, one in enumerate(found)}
    told = [part for group in groups for part in ([group] if len(group) >= _PATTERN else [[x] for x in group])]
    return sorted(told, key=lambda x: first[id(x[0])])


def _near(ones: tuple[float, ...], others: tuple[float, ...], factor: float) -> bool:
    return all(max(x, y) <= min(x, y) * factor for x, y in zip(ones, others, strict=True))


def where_of_all(places: Sequence[Where]) -> Where:
    """Where the first is, with the faces of all, and a line across each of the others."""
    if len(places) == 1:
        return places[0]
    faces = sorted({f for x in places for f in x.faces})
    lines = tuple(x.span for x in places[1:] if x.span is not None)
    return replace(places[0], faces=tuple(faces), lines=lines)
