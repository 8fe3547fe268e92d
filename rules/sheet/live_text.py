"""Text that is not outlines."""

from __future__ import annotations

from collections.abc import Iterator

from lintsvc.rulebook import COMMON_PRACTICE, Checked, Hit, rule


@rule(
    id="sheet/live-text",
    process="sheet",
    kind="sheet",
    level="warning",
    since="0.1",
    message="{texts} on the part {be} live text, not outlines: {quoted}.",
    remedy="If it is to be cut or engraved, turn it into outlines; else delete it, or set it beside the part.",
    sources=(COMMON_PRACTICE,),
    worse="present",
    cost="rework",
)
def live_text(part: Checked) -> Iterator[Hit]:
    """Text that is not outlines.

    A text is drawn with a font that the shop may not have: it is left out, or cut in another shape and size.

    Measured: texts of the file. Those that stand on the part are warned of, those beside it are noted, and
    those that were read as a bend's data are left out.
    Ignore when: the text is only a note to the reader.
    """
    for on_part in (True, False):
        texts = [x for x in part.flat.texts if x.on_part is on_part]
        if not texts:
            continue
        quoted = ", ".join(f"“{x.text[:30]}”" for x in texts[:3]) + (" …" if len(texts) > 3 else "")
        group = part.flat.together(texts, lambda x: 0.0)
        message = None if on_part else "{texts} beside the part {be} live text, not outlines: {quoted}."
        words = {"texts": group.of("text"), "be": "is" if len(texts) == 1 else "are", "quoted": quoted}
        level = None if on_part else "note"
        yield Hit(len(texts), group.where, None, "count", words=words, message=message, level=level)
