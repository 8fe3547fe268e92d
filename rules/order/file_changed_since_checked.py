from collections.abc import Iterator

from lintsvc.rulebook import GEOMETRY, Hit, rule


@rule(
    id="order/file-changed-since-checked",
    process="any",
    kind="order",
    level="warning",
    since="0.2",
    message="{part}: {file} is not the file that was checked; its hash begins with {now}, and the order says {then}.",
    remedy="Look at what changed, check it again, and write the new hash into the order.",
    sources=(GEOMETRY,),
    worse="present",
)
def check(order) -> Iterator[Hit]:
    """Part whose file changed after it was checked and written into the order.

    What is sent has to be what was checked. An export in between goes out unseen.

    Measured: the SHA-256 of the part's file against the one in the order (checked_sha256).
    Ignore when: the change is known and checked.
    """
    for part in order.parts:
        said = part.entry.checked_sha256
        if said is not None and said.lower() != part.report.sha256.lower():
            words = {"part": part.id, "file": part.entry.file, "now": part.report.sha256[:12], "then": said[:12]}
            yield Hit(None, limit=None, words=words, parts=(part.id,))
