"""One row in three versions: as both knew it (base), as one side has it now (mine), as the other has it (theirs).

A version is a mapping field -> value, or None where the row is not there. Values are plain ones as `plain` makes them.
Nobody's change is lost silently: what both sides changed to different values is a clash.
"""

from __future__ import annotations

import datetime
import math
from collections.abc import Mapping
from dataclasses import dataclass, field

WHOLE_ROW = ""

NOTHING, INSERT, UPDATE, DELETE = "nothing", "insert", "update", "delete"


@dataclass(frozen=True)
class Clash:
    """Both sides changed `field` (WHOLE_ROW: one deleted the row, the other changed it). None: unknown, or no row."""

    field: str
    base: object
    mine: object
    theirs: object


@dataclass(frozen=True)
class Merged:
    """What is to be done to their version so that it holds my changes, the clashes aside.

    `values`: the fields to be written. `beside`: fields that only they changed in a row that I changed too.
    """

    action: str = NOTHING
    values: Mapping[str, object] = field(default_factory=dict)
    clashes: tuple[Clash, ...] = ()
    beside: tuple[str, ...] = ()


def merge_row(base: Mapping | None, mine: Mapping | None, theirs: Mapping | None) -> Merged:
    """Bring my changes into their version. All versions that are there have the same fields."""
    if base is None:
        return _both_added(mine, theirs) if mine is not None else Merged()
    if mine is None:
        return _deleted_by_me(base, theirs)
    changed = [name for name in mine if not same(mine[name], base.get(name))]
    if not changed:
        return Merged()
    if theirs is None:
        return Merged(clashes=(Clash(WHOLE_ROW, dict(base), dict(mine), None),))
    clashes, values = [], {}
    for name in changed:
        if same(theirs[name], mine[name]):
            continue
        if same(theirs[name], base.get(name)):
            values[name] = mine[name]
        else:
            clashes.append(Clash(name, base.get(name), mine[name], theirs[name]))
    beside = tuple(n for n in theirs if n not in changed and not same(theirs[n], base.get(n)))
    return Merged(UPDATE if values else NOTHING, values, tuple(clashes), beside)


def _both_added(mine: Mapping, theirs: Mapping | None) -> Merged:
    if theirs is None:
        return Merged(INSERT, dict(mine))
    return Merged(clashes=tuple(
        Clash(name, None, mine[name], theirs[name]) for name in mine if not same(mine[name], theirs[name])
    ))


def _deleted_by_me(base: Mapping, theirs: Mapping | None) -> Merged:
    if theirs is None:
        return Merged()
    if all(same(theirs[name], base.get(name)) for name in theirs):
        return Merged(DELETE)
    return Merged(clashes=(Clash(WHOLE_ROW, dict(base), None, dict(theirs)),))


def same(one: object, other: object) -> bool:
    """Whether two plain values are the same; a number is the same as an equal one of another kind."""
    if isinstance(one, float) and isinstance(other, float) and math.isnan(one) and math.isnan(other):
        return True
    return one == other


def plain(value: object, kind: str) -> object:
    """A value of a field of `kind` (plugin.schema.declare), from the history's JSON or from a layer, made comparable.

    Dates are ISO text, moments datetimes without a time zone (UTC where one was said), numbers numbers.
    """
    if value is None:
        return None
    if kind in ("integer", "boolean"):
        return int(value)  # type: ignore[call-overload]
    if kind == "real":
        return float(value)  # type: ignore[arg-type]
    if kind == "date":
        return str(value)[:10]
    if kind == "datetime":
        return _moment(str(value))
    return value


def _moment(words: str) -> object:
    try:
        moment = datetime.datetime.fromisoformat(_padded(words.strip().replace("Z", "+00:00")))
    except ValueError:
        return words
    return moment.astimezone(datetime.timezone.utc).replace(tzinfo=None) if moment.tzinfo else moment


def _padded(words: str) -> str:
    """Fractions of a second as Python before 3.11 reads them: three or six digits."""
    head, dot, rest = words.partition(".")
    digits = rest[: len(rest) - len(rest.lstrip("0123456789"))]
    return f"{head}.{digits[:6].ljust(6, '0')}{rest[len(digits):]}" if dot else words
