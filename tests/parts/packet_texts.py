"""What a person reads of a packet's pages."""

from __future__ import annotations

from html.parser import HTMLParser

import pypdfium2


def pdf_text(data: bytes) -> str:
    """Outside check: pdfium's text, line ends as spaces."""
    document = pypdfium2.PdfDocument(data)
    text = " ".join(page.get_textpage().get_text_bounded() for page in document)
    document.close()
    return " ".join(text.split())


class _Text(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.words: list[str] = []
        self.skip = False

    def handle_starttag(self, tag, attrs) -> None:
        self.skip = tag in ("style", "title")
        assert tag not in ("script", "link", "iframe")

    def handle_data(self, data: str) -> None:
        if not self.skip:
            self.words.append(data)


def html_text(data: bytes) -> str:
    parser = _Text()
    parser.feed(data.decode())
    return " ".join(" ".join(parser.words).split())
