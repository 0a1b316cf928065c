"""Reads what a PDF written by Qt says: the text of its pages, its metadata, and every byte that can be unpacked."""

from __future__ import annotations

import re
import zlib

_OBJECT = re.compile(rb"(?:^|\n)(\d+) 0 obj(.*?)endobj", re.DOTALL)
_STREAM = re.compile(rb"stream\r?\n(.*?)\r?\nendstream", re.DOTALL)


def _objects(data: bytes) -> dict[int, bytes]:
    return {int(number): body for number, body in _OBJECT.findall(data)}


def _unpacked(body: bytes) -> bytes:
    """The stream of an object, empty where it has none."""
    found = _STREAM.search(body)
    if not found:
        return b""
    try:
        return zlib.decompress(found.group(1))
    except zlib.error:
        return found.group(1)


def everything(data: bytes) -> str:
    """All bytes, packed streams unpacked, as text with one character a byte; UTF-16 text without its zero bytes."""
    parts = [data, *(_unpacked(body) for body in _objects(data).values())]
    raw = b"\n".join(parts)
    return raw.decode("latin-1") + raw.replace(b"\x00", b"").decode("latin-1")


def page_text(data: bytes) -> str:
    """The text that is drawn, glyphs turned into characters by the fonts' own tables."""
    objects = _objects(data)
    tables = {number: _glyphs(objects, body) for number, body in objects.items() if b"/ToUnicode" in body}
    said = []
    for body in objects.values():
        stream = _unpacked(body)
        if b" Tf" not in stream:
            continue
        table: dict[int, str] = {}
        for font, text in re.findall(rb"/F(\d+) [\d.]+ Tf|((?:<[0-9a-fA-F]+>|\[[^\]]*\])\s*T[jJ])", stream):
            if font:
                table = tables.get(int(font), {})
            else:
                codes = b"".join(re.findall(rb"<([0-9a-fA-F]+)>", text)).decode("ascii")
                said.append("".join(table.get(int(codes[k:k + 4], 16), "") for k in range(0, len(codes), 4)))
    return "\n".join(said)


def squashed(text: str) -> str:
    """Without any white space and in small letters: the tables of fonts do not tell blanks from tabs."""
    return "".join(text.split()).lower()


def _glyphs(objects: dict[int, bytes], font: bytes) -> dict[int, str]:
    """Characters by number of the glyph."""
    reference = int(re.search(rb"/ToUnicode (\d+) 0 R", font).group(1))
    table: dict[int, str] = {}
    text = _unpacked(objects[reference]).decode("latin-1")
    for first, last, many, one in re.findall(
        r"<([0-9a-fA-F]+)>\s*<([0-9a-fA-F]+)>\s*(?:\[([^\]]*)\]|<([0-9a-fA-F]+)>)", text
    ):
        listed = re.findall(r"<([0-9a-fA-F]+)>", many) if many else []
        for step in range(int(last, 16) - int(first, 16) + 1):
            code = listed[step] if listed else f"{int(one, 16) + step:04x}"
            table[int(first, 16) + step] = bytes.fromhex(code).decode("utf-16-be", "replace")
    return table


def metadata(data: bytes) -> str:
    """What the document says of itself."""
    return "\n".join(body.decode("latin-1") for body in _objects(data).values() if b"/Producer" in body)


def page_sizes(data: bytes) -> list[tuple[float, float]]:
    """Width and height of the pages in points."""
    boxes = re.findall(rb"/MediaBox \[\s*0 0 ([\d.]+) ([\d.]+)\s*\]", data)
    return [(float(width), float(height)) for width, height in boxes]
