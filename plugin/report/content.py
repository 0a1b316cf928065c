"""What the pages show, ready to be laid out: `ReportContent` for a check, `RerouteContent` for a reroute,
`ComparisonContent` for a layout beside an archive.

Everything is finished here; the pages compute nothing. Figures in rows are SI and shown in `Facts.units`; text may
hold anything, the pages escape it. `Figure.svg` must come from this package: it goes into the page as it is.
"""

from __future__ import annotations

from dataclasses import dataclass

from ..checks.declare import Check, Severity
from ..limits import Limit
from ..units import Units

NAN = float("nan")


@dataclass(frozen=True)
class Facts:
    """Where the figures come from. Empty text is shown as unknown.

    `filters` are sentences about what was not seen ("412 lines were not seen because only the selection was
    used"); `more` are further pairs of words and value.
    """

    title: str
    units: Units
    made_on: str
    version: str
    crs: str
    drains_read: int
    vertical_datum: str = ""
    ground: str = ""
    filters: tuple[str, ...] = ()
    more: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True)
class Figure:
    """A drawing by `profile_svg` or `thumbnail_svg` with a sentence below it; a wide one takes the whole page."""

    svg: str
    caption: str
    wide: bool = False


@dataclass(frozen=True)
class Row:
    """One finding: drain, station range (equal: a place; NaN: not on a drain), figures in SI, NaN where unknown."""

    name: str
    drain_id: str
    severity: Severity
    call: str
    from_m: float = NAN
    to_m: float = NAN
    value: float = NAN
    limit: float = NAN
    probability: float = NAN
    detail: str = ""
    xy_m: tuple[float, float] = (NAN, NAN)


@dataclass(frozen=True)
class Group:
    """The findings of one check: `rows` are the worst of them, `total` how many there are.

    `layers` are the outputs that hold them all, `limits` the thresholds the check used.
    """

    check: Check
    rows: tuple[Row, ...]
    total: int
    drain_count: int
    severities: tuple[tuple[Severity, int], ...]
    layers: tuple[str, ...]
    limits: tuple[Limit, ...] = ()
    figures: tuple[Figure, ...] = ()


@dataclass(frozen=True)
class SeverityCount:
    """How many findings of a severity there are, on how many drains."""

    severity: Severity
    findings: int
    drains: int


@dataclass(frozen=True)
class Missed:
    """A check that could not be made: why, for how many drains (None: for all), some of their names."""

    title: str
    why: str
    drain_count: int | None = None
    examples: tuple[str, ...] = ()


@dataclass(frozen=True)
class Broken:
    """A check that crashed, with the program's own words."""

    title: str
    error: str


@dataclass(frozen=True)
class Caution:
    """A heading of a few words and what to do or mind."""

    title: str
    text: str


@dataclass(frozen=True)
class Table:
    """Words in rows under headings; numbers come as text with their unit. `if_empty` is said where no row is."""

    headings: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    if_empty: str


@dataclass(frozen=True)
class ReportContent:
    """A page about all checks of one layer; `checks_made` counts the checks that ran to their end.

    `accepted` are the findings somebody lets stand; they are in no group and not counted.
    """

    facts: Facts
    verdict: tuple[str, ...]
    counts: tuple[SeverityCount, ...]
    groups: tuple[Group, ...]
    checks_made: int
    not_checked: tuple[Missed, ...]
    crashed: tuple[Broken, ...]
    limits: tuple[Limit, ...]
    cannot_make: tuple[Missed, ...]
    cautions: tuple[Caution, ...]
    accepted: Table = Table((), (), "")


@dataclass(frozen=True)
class RerouteContent:
    """A page about one drawn reroute.

    `call` is falls, reverse, cannot_tell or unknown, `p_reverse` its chance of running backwards (NaN: unknown),
    `climbs` says at which ends water would have to climb, if at any;
    `sentences` follow the verdict ("The ground falls 0.077 %, the pipe rises 0.026 %."); `numbers` are pairs of
    words and value; `profile` is shown big.
    """

    facts: Facts
    call: str
    p_reverse: float
    sentences: tuple[str, ...]
    numbers: tuple[tuple[str, str], ...]
    profile: Figure
    maps: tuple[Figure, ...]
    crosses: Table
    trees: Table
    cover: Table
    stations: Table
    groups: tuple[Group, ...]
    not_checked: tuple[Missed, ...]
    limits: tuple[Limit, ...]
    cannot_make: tuple[Missed, ...]
    cautions: tuple[Caution, ...]
    left: Table = Table((), (), "Not worked out.")
    climbs: str = ""


@dataclass(frozen=True)
class LineGroup:
    """Lines of a layout that are of one class: what is so, what is proposed, what to do, and the first of them.

    `total` is how many there are; rows under `headings` are words.
    """

    id: str
    title: str
    decision: str
    remedy: str
    total: int
    lines: Table


@dataclass(frozen=True)
class ComparisonContent:
    """A page about a layout beside an archive. `sentences` are the verdict, the first is set big."""

    facts: Facts
    sentences: tuple[str, ...]
    counts: Table
    map: Figure | None
    groups: tuple[LineGroup, ...]
    outlets: Table
    moves: Table
    how_to_accept: tuple[str, ...]
    not_checked: tuple[Missed, ...]
    limits: tuple[Limit, ...]
    cautions: tuple[Caution, ...]
