"""Names and entries taken apart into words."""

from __future__ import annotations

import html
import re

_CAMEL = re.compile(r"(?<=[a-z\d])(?=[A-Z])|(?<=[A-Z])(?=[A-Z][a-z])")
_SIZE = re.compile(
    r"(?<![\d.,])(?P<number>\d{1,4}(?:[.,]\d{1,2})?)\s*-?\s*(?P<unit>inch(?:es)?|in|mm|\"|''|\u201d|\u2033)(?![a-z\d])",
    re.IGNORECASE,
)  # fmt: skip


def split_words(text: str) -> list[str]:
    """Words in small letters: letters and digits stay apart, 'TileDepth_FT' gives tile, depth, ft."""
    apart = _CAMEL.sub(" ", str(text))
    return re.findall(r"[^\W\d_]+|\d+", apart.lower())


def phrase(text: str) -> str:
    """An entry in small letters, its words one blank apart: 'Sub-Main ' gives 'sub main'."""
    return " ".join(re.findall(r"[^\W_]+", str(text).lower()))


def take_size(text: str) -> tuple[str, str]:
    """A size with its unit out of a longer entry, and the rest: '6" main' gives '6"' and 'main'."""
    found = _SIZE.search(str(text))
    if not found:
        return "", str(text)
    return found[0], f"{text[: found.start()]} {text[found.end():]}".strip()


def without_markup(text: str) -> str:
    """The words of a text with HTML in it: cells and lines stay apart by blanks."""
    if "<" not in text:
        return text.strip()
    bare = re.sub(r"<(script|style)\b.*?</\1>", " ", text, flags=re.IGNORECASE | re.DOTALL)
    bare = re.sub(r"</(td|th)>\s*<(td|th)\b[^>]*>", ": ", bare, flags=re.IGNORECASE)
    bare = re.sub(r"<(br|/tr|/p|/div|/li)\b[^>]*>", "; ", bare, flags=re.IGNORECASE)
    bare = html.unescape(re.sub(r"<[^>]*>", " ", bare))
    return re.sub(r"(\s*;)+(\s|$)", "; ", re.sub(r"\s+", " ", bare)).strip(" ;")
