"""Something in the file was wrong and was worked around to read it."""

from __future__ import annotations

from collections.abc import Iterator

from lintsvc.rulebook import Checked, Hit, Source, Where, rule

OF_THE_FORMAT = Source("standard", "The file does not keep to its own format; the message says where.")


@rule(
    id="soundness/recovered-file",
    process="any",
    kind="any",
    level="warning",
    since="0.1",
    message="{what}",
    remedy="Export the file again, then compare size and shape; another program may read this one in another way.",
    sources=(OF_THE_FORMAT,),
    worse="present",
)
def recovered_file(part: Checked) -> Iterator[Hit]:
    """File that had to be patched up.

    What one program works around another one drops. The part checked here is what could be read; the shop's
    program may see more, less or something else.

    Measured: what the reader left out or set right, as it noticed it.
    Ignore when: the size and the picture of the part are what was meant, and the shop reads the same.
    """
    for note in part.part.notes:
        if note.kind in ("recovered", "not-flat"):
            where = None
            if note.point_mm is not None:
                where = Where(note.point_mm, (note.point_mm, note.point_mm), entities=note.entities)
            yield Hit(where=where, words={"what": note.text})
