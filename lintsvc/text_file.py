"""Reading a file that people write by hand: an order, a lintsvc.toml, a shop.toml."""

from __future__ import annotations

from pathlib import Path


class NoText(Exception):
    """The file cannot be read as text. Names the file as shown, and what is wrong."""


def read_text_file(path: Path, shown: str, *, what: str = "", most_bytes: int | None = None) -> str:
    """Return the text of a file of UTF-8. `what` it is stands in the error of one larger than `most_bytes`.

    Raises NoText.
    """
    try:
        if most_bytes is not None and path.stat().st_size > most_bytes:
            raise NoText(f"{shown}: {what} is at most {most_bytes // 1_000_000} MB")
        return path.read_text("utf-8")
    except OSError as error:
        raise NoText(f"{shown}: cannot be opened: {error.strerror}") from None
    except UnicodeDecodeError:
        raise NoText(f"{shown}: is no text in UTF-8; save it as UTF-8") from None
