"""Text files with columns: which letters they are written in, where the table begins, what parts the columns.

What a machine or an office program writes is brought into one form, UTF-8 with commas, semicolons or tabs, so that
any reader of such files reads it alike. The numbers of its lines are kept.
"""

from __future__ import annotations

import csv
import io
import re
from collections import Counter
from dataclasses import dataclass

from .quantity import parse_quantity

UTF_8, WINDOWS = "utf-8", "cp1252"
_MARKS = ((b"\xef\xbb\xbf", "utf-8-sig"), (b"\xff\xfe", "utf-16"), (b"\xfe\xff", "utf-16"))
_SIGNS = (",", ";", "\t", "|")
_LOOKED_AT = 60  # lines
_MOST_EMPTY = 0.01  # share of zero bytes, which some devices leave in their logs
csv.field_size_limit(2**31 - 1)  # a shape written as text may be long
_COMMENT = ("#", "//", "%", "!")


class EncodingError(ValueError):
    """The letters of a file cannot be read as the user said; the message says so."""


@dataclass(frozen=True)
class TextTable:
    """A table as text: `named`: its first line holds the names. `line` is the line of the file in which each further
    row begins. `before` are lines above the table.
    """

    text: str
    named: bool
    line: tuple[int, ...]
    before: tuple[str, ...]


def decode(held: bytes, encoding: str = "") -> tuple[str, str]:
    """The text of a file, and a sentence where nothing tells its letters; `encoding` is what the user says.

    Raises EncodingError.
    """
    text, said = _decoded(held, encoding)
    empty = text.count("\0")
    if empty > _MOST_EMPTY * len(text):
        raise EncodingError("It is no text: it may be damaged or of another kind. Ask for it again.")
    return (text.replace("\0", "") if empty else text), said


def _decoded(held: bytes, encoding: str) -> tuple[str, str]:
    if encoding:
        try:
            return held.decode(encoding), ""
        except LookupError:
            raise EncodingError(
                f"The encoding '{encoding}' is not known: write for instance utf-8 or cp1252."
            ) from None
        except UnicodeDecodeError:
            raise EncodingError(
                f"The file is not written in {encoding}: leave ENCODING empty or name another."
            ) from None
    for mark, own in _MARKS:
        if held.startswith(mark):
            return held.decode(own, errors="replace"), ""
    try:
        return held.decode(UTF_8), ""
    except UnicodeDecodeError:
        said = (
            "The letters of the file are not UTF-8; they were read as Windows letters (cp1252). Look at names with "
            "accents, and say ENCODING if they are wrong."
        )
        return held.decode(WINDOWS, errors="replace"), said


def guess_encoding(held: bytes, declared: str = "") -> tuple[str, str]:
    """The encoding of the text in a file with other bytes between (a dBASE table), and a sentence where it differs
    from the `declared` one or nothing declares it.

    Letters beyond ASCII are UTF-8 where they come in its sequences; a few may be cut at the end of a field.
    """
    beyond = sum(byte > 127 for byte in held) if len(held) < 1 << 16 else len(re.findall(rb"[\x80-\xff]", held))
    if not beyond:
        return declared or UTF_8, ""
    whole = re.findall(rb"[\xc2-\xdf][\x80-\xbf]|[\xe0-\xef][\x80-\xbf]{2}|[\xf0-\xf4][\x80-\xbf]{3}", held)
    found = UTF_8 if sum(map(len, whole)) > 0.9 * beyond else WINDOWS
    if declared and (_plain(declared) == _plain(UTF_8)) == (found == UTF_8):
        return declared, ""
    told = f"is declared as {declared}, but it" if declared else "does not say in which letters it is written; it"
    words = "UTF-8" if found == UTF_8 else "Windows letters (cp1252)"
    said = f"The file {told} looks like {words} and was read so. Look at names with accents; ENCODING overrules it."
    return found, said


def _plain(name: str) -> str:
    return re.sub(r"[^a-z0-9]", "", name.lower())


def read_table(text: str) -> TextTable:
    """Find the table in a text: lines above it, its separator, whether its first line holds names."""
    lines = [(number, line) for number, line in enumerate(text.splitlines(), 1) if line.strip()]
    sign, width = _separator([line for _, line in lines if not line.lstrip().startswith(_COMMENT)][:_LOOKED_AT])
    start = next((place for place, (_, line) in enumerate(lines) if _width(line, sign) == width), 0)
    if lines and lines[start][1].lstrip().startswith(_COMMENT) and sign and start + 1 < len(lines):
        # a line of names may itself be a comment
        cells = _cells(lines[start][1].lstrip("#/%! "), sign)
        start += 0 if len(cells) == width and not any(_is_figure(cell) for cell in cells) else 1
    before, rows = lines[:start], lines[start:]
    named = bool(rows) and not any(_is_figure(cell) for cell in _cells(rows[0][1].lstrip("#%! "), sign))
    body = [line for _, line in rows]
    if named and body:
        body[0] = body[0].lstrip("#%! ")
    numbers = [number for number, _ in rows]
    if sign and (sign in ("|", " ") or _is_uneven(body, sign)):
        body, first = _evened(body, sign, named)
        numbers = [numbers[place] for place in first]
    return TextTable("\n".join(body) + "\n", named, tuple(numbers[named:]), tuple(line for _, line in before))


def _separator(lines: list[str]) -> tuple[str, int]:
    """The sign that parts most lines into the same number of columns, and that number; blanks where no sign does."""
    best = ("", 1, 0)
    for sign in (*_SIGNS, " "):
        widths = Counter(_width(line, sign) for line in lines)
        widths.pop(1, None)
        if widths:
            width, count = max(widths.items(), key=lambda one: (one[1], one[0]))
            if count > best[2] and count * 2 >= len(lines):
                best = (sign, width, count)
    return best[0], best[1]


def _width(line: str, sign: str) -> int:
    return len(_cells(line, sign))


def _cells(line: str, sign: str) -> list[str]:
    if sign == " ":
        return line.split()
    return next(csv.reader([line], delimiter=sign)) if sign else [line]


def _is_figure(cell: str) -> bool:
    read = parse_quantity(cell) if cell.strip()[:1] in "+-.0123456789" and cell.strip() else None
    return read is not None and not read.rest and not read.unit


def _is_uneven(lines: list[str], sign: str) -> bool:
    """Whether a reader of such files could lose a cell: names used twice, cells beyond the first row's, marks that
    may or may not be quotes."""
    first = _cells(lines[0], sign) if lines else []
    signs = len(first) - 1
    return len(set(first)) < len(first) or any(line.count(sign) > signs or '"' in line for line in lines)


def _evened(lines: list[str], sign: str, named: bool) -> tuple[list[str], list[int]]:
    """The rows with commas, as many cells in the first as in the longest, every name once; and where each began."""
    rows, first = [], []
    if sign == " ":
        rows, first = [_cells(line, sign) for line in lines], list(range(len(lines)))
    else:
        reader, start = csv.reader((line + "\n" for line in lines), delimiter=sign), 0
        for row in reader:
            rows.append(row)
            first.append(start)
            start = reader.line_num
    width = max(map(len, rows), default=0)
    if rows:
        rows[0] += [""] * (width - len(rows[0]))
        rows[0] = _each_once(rows[0]) if named else rows[0]
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerows(rows)
    return [out.getvalue().rstrip("\n")], first


def _each_once(names: list[str]) -> list[str]:
    """Names of columns, none empty, the number of its column behind one that was there before."""
    made: dict[str, str] = {}
    for place, name in enumerate(names, 1):
        own = name.strip() or f"column {place}"
        own = f"{own} (column {place})" if own.lower() in made else own
        made[own.lower()] = own
    return list(made.values())
