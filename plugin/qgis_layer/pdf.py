"""Blocks of text and drawings on pages of a PDF, by what Qt brings."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from qgis.PyQt.QtCore import QByteArray, QMarginsF, QRectF, QSizeF
from qgis.PyQt.QtGui import QFont, QPageLayout, QPageSize, QPainter, QPdfWriter, QTextDocument
from qgis.PyQt.QtSvg import QSvgRenderer

_PER_INCH = 96.0  # units in which blocks are laid out
_RESOLUTION = 1200
_MARGIN_MM = 16.0
_FOOT = 26.0
_BETWEEN = 6.0


def write_pdf(path: Path, title: str, foot: str, blocks: Sequence, letter: bool) -> int:
    """Write the blocks (html, or svg with its size) to a file; returns the number of pages.

    `foot` stands at the foot of every page. Raises OSError where the file cannot be written.
    """
    writer = QPdfWriter(str(path))
    writer.setTitle(title)
    writer.setCreator("Fallkeeper")
    writer.setResolution(_RESOLUTION)
    size = QPageSize(QPageSize.PageSizeId.Letter if letter else QPageSize.PageSizeId.A4)
    margins = QMarginsF(_MARGIN_MM, _MARGIN_MM, _MARGIN_MM, _MARGIN_MM)
    writer.setPageLayout(QPageLayout(size, QPageLayout.Orientation.Portrait, margins, QPageLayout.Unit.Millimeter))
    painter = QPainter()
    if not painter.begin(writer):
        raise OSError(f"{path} cannot be written: is it open in another program, or the folder read-only?")
    try:
        return _Pages(writer, painter, foot).put(blocks)
    finally:
        painter.end()


class _Pages:
    """Puts blocks one under another and begins a new page where one finds no room."""

    def __init__(self, writer: QPdfWriter, painter: QPainter, foot: str) -> None:
        self._writer, self._painter, self._foot = writer, painter, foot
        scale = _RESOLUTION / _PER_INCH
        painter.scale(scale, scale)
        self._width = writer.width() / scale
        self._height = writer.height() / scale - _FOOT
        self._top, self._page = 0.0, 1

    def put(self, blocks: Sequence) -> int:
        for block in blocks:
            if block.svg:
                self._drawing(block)
            else:
                self._text(block.html)
            self._top += _BETWEEN
        self._end_page()
        return self._page

    def _drawing(self, block) -> None:
        width, height = block.size
        scale = min(self._width / width, self._height / height, 1.0)
        self._make_room(height * scale)
        renderer = QSvgRenderer(QByteArray(block.svg.encode("utf-8")))
        renderer.render(self._painter, QRectF(0.0, self._top, width * scale, height * scale))
        self._top += height * scale

    def _text(self, html: str) -> None:
        document = self._document(html)
        height = document.size().height()
        if height > self._height - self._top and height <= self._height:
            self._make_room(height)
        if height <= self._height - self._top:
            self._draw(document, 0.0, height)
            self._top += height
            return
        self._long_text(document)

    def _long_text(self, document: QTextDocument) -> None:
        """Text longer than a page: the document divides itself between lines."""
        if self._top > 0.0:
            self._next_page()
        document.setPageSize(QSizeF(self._width, self._height))
        for number in range(document.pageCount()):
            if number:
                self._next_page()
            self._draw(document, number * self._height, self._height)
        last = document.documentLayout().documentSize().height() - (document.pageCount() - 1) * self._height
        self._top = min(last, self._height)

    def _document(self, html: str) -> QTextDocument:
        document = QTextDocument()
        font = QFont("Helvetica")
        font.setStyleHint(QFont.StyleHint.SansSerif)
        font.setPointSizeF(10.5)
        document.setDefaultFont(font)
        document.setDocumentMargin(0.0)
        document.setHtml(html)
        document.setTextWidth(self._width)
        return document

    def _draw(self, document: QTextDocument, from_y: float, height: float) -> None:
        self._painter.save()
        self._painter.translate(0.0, self._top - from_y)
        document.drawContents(self._painter, QRectF(0.0, from_y, self._width, height))
        self._painter.restore()

    def _make_room(self, height: float) -> None:
        if self._top > 0.0 and height > self._height - self._top:
            self._next_page()

    def _next_page(self) -> None:
        self._end_page()
        self._writer.newPage()
        self._page += 1
        self._top = 0.0

    def _end_page(self) -> None:
        """The line at the foot."""
        document = self._document(f"<p style='font-size:9pt; color:#444444'>{self._foot}, page {self._page}</p>")
        self._painter.save()
        self._painter.translate(0.0, self._height + 8.0)
        document.drawContents(self._painter)
        self._painter.restore()
