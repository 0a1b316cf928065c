"""What the history of an archive tells of its drains, as far as a check asks for it."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class GivenInvert:
    """An end of a drain that lies elsewhere now than when its invert was given: where it lay then, and the other end.

    `at_end`: the end of the drawn line, else its start. `when`: the day of the move; `who`: empty if unknown.
    `split`: the drain was cut from another one, whose invert it took along.
    """

    drain_id: str
    at_end: bool
    xy_m: tuple[float, float]
    other_xy_m: tuple[float, float]
    invert_m: float
    when: str
    who: str
    split: bool


@dataclass(frozen=True)
class Edits:
    """`known`: keys of the drains of which the history tells everything since they were drawn."""

    moved: tuple[GivenInvert, ...]
    known: frozenset[str]
