"""How a check is declared, and what it may say.

A check is one file with one function under `@check(...)`. The declaration holds every word people
read (what is wrong, what to do, when it is a false alarm, the limit and its source); the function
yields places and figures only, in bulk: `Stretches` of pipe, `Places`, or `NotChecked`.
Report, table, map and manual are made from the declaration.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from enum import Enum
from typing import TYPE_CHECKING, Union

import numpy as np

if TYPE_CHECKING:
    from .case import Case

FOUND = "found"
REVERSE = "reverse"
CANNOT_TELL = "cannot_tell"
UNKNOWN = "unknown"


class Severity(str, Enum):
    """serious: water does not get out, or will not for long; doubt: somebody has to look; note: good to know."""

    SERIOUS = "serious"
    DOUBT = "doubt"
    NOTE = "note"


@dataclass(frozen=True)
class Stretches:
    """Stretches of pipe with the same fault. Scalars stand for all; NaN and None are unknown.

    `line`, `from_m`, `to_m`: stretch along each line (from < to). `value` and `limit` are in SI (a grade
    is a ratio, negative where the pipe rises downstream). `detail` is a sentence of facts a row
    ("gap 3.0 ft to Main A"), made with `Case.units`; `severity` replaces the declared one.
    """

    line: np.ndarray
    from_m: np.ndarray
    to_m: np.ndarray
    value: np.ndarray | float = np.nan
    limit: np.ndarray | float = np.nan
    probability: np.ndarray | float = np.nan
    call: np.ndarray | str = FOUND
    severity: np.ndarray | Severity | None = None
    detail: np.ndarray | str = ""


@dataclass(frozen=True)
class Places:
    """Single places with the same fault: on a line at a distance from its first vertex, or anywhere (`xy_m`).

    Where `line` is -1 the place belongs to no line; `drain`, `structure` or `shot` (rows) names what it belongs to
    then, if there is such.
    """

    line: np.ndarray
    at_m: np.ndarray
    xy_m: np.ndarray
    value: np.ndarray | float = np.nan
    limit: np.ndarray | float = np.nan
    probability: np.ndarray | float = np.nan
    call: np.ndarray | str = FOUND
    severity: np.ndarray | Severity | None = None
    detail: np.ndarray | str = ""
    drain: np.ndarray | None = None
    structure: np.ndarray | None = None
    shot: np.ndarray | None = None


@dataclass(frozen=True)
class NotChecked:
    """The check could not be made: why (a sentence with the remedy), for which drains (rows; None: for all)."""

    why: str
    drain: np.ndarray | None = None


Said = Union[Stretches, Places, NotChecked]
CheckFunction = Callable[["Case"], Iterator[Said]]


@dataclass(frozen=True)
class Check:
    """A declared check. `kind` is that of value and limit in `Units` (length, diameter, grade, area, ratio or '').

    `limits` names the thresholds it uses; their sources are shown after `source`. `worst` tells which
    value stands for neighbouring stretches that become one row: "max", "min" or "" (all the same). `looks_far`:
    it looks at pipes of other systems too, and keeps to the drains in `Case.asked`.
    """

    id: str
    title: str
    remedy: str
    false_alarm: str
    severity: Severity
    source: str
    function: CheckFunction = field(repr=False)
    kind: str = ""
    limits: tuple[str, ...] = ()
    worst: str = ""
    looks_far: bool = False


def check(
    *,
    id: str,  # noqa: A002 (the word users see)
    title: str,
    remedy: str,
    false_alarm: str,
    severity: Severity,
    source: str,
    kind: str = "",
    limits: tuple[str, ...] = (),
    worst: str = "",
    looks_far: bool = False,
) -> Callable[[CheckFunction], Check]:
    """Declare the function below as a check; the title describes the wrong condition, the remedy what to do."""

    def declare(function: CheckFunction) -> Check:
        return Check(id, title, remedy, false_alarm, severity, source, function, kind, limits, worst, looks_far)

    return declare
