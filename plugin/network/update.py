"""After an edit: build the network anew only where something changed, and leave the rest as it is.

What changed is found by comparing the tables. Lines that have nothing to do with it, directly or by way of
others, keep all they had; the others are built by `build_network`, as if they were a layer of their own.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from ..tables import Drains, Shots, Structures
from .build import build_network
from .edit import Edit
from .kept_rows import KeptRows, rows_of
from .lines import Lines
from .network import Network
from .splice import GONE, Numbers, Splice
from .spliced import splice_of, spliced

_MOST_SHARE = 0.5  # where more of the drains than this is to be built anew, all is


@dataclass(frozen=True)
class Updated:
    """The network now. `line_before`: by line, the line of the old network with the same drain; -1 where it is new or
    not as it was.

    `part` is what was built anew, as a network of its own, and `splice` how it was put in the place of what it stands
    for; None where all was built anew, and `why_all` says why.
    """

    network: Network
    line_before: np.ndarray
    part: Network | None = None
    splice: Splice | None = None
    why_all: str = ""


Finish = Callable[[Network, np.ndarray], Network]
"""What to do with what was built, the part or all, before it is used; given the old line of each of its lines (-1)."""


def update_network(
    old: Network, drains: Drains, structures: Structures | None = None, shots: Shots | None = None,
    finish: Finish = lambda network, line_before: network,
) -> Updated:
    """The network of these drains, structures and shots, as `build_network` builds it with the settings of `old`.

    Equal to a network built as a whole but for the numbers of nodes, systems and rings.
    """
    structures = structures if structures is not None else Structures.none()
    shots = shots if shots is not None else Shots.none()
    edit = Edit.between(old, drains, structures, shots)
    rows = edit.rows_to_build(edit.touched_lines())
    if len(rows.drains) > _MOST_SHARE * len(drains):
        return _all_anew(edit, finish, "More than half of the drains have to do with what changed.")
    stays = [
        _stays(kept, built) for kept, built in (
            (edit.kept_drains, rows.drains), (edit.kept_structures, rows.structures), (edit.kept_shots, rows.shots),
        )
    ]
    marked = _marks_outlet(old, stays[0].old >= 0, stays[1].old >= 0)
    part = _build(
        old, rows_of(drains, rows.drains), rows_of(structures, rows.structures), rows_of(shots, rows.shots), marked
    )
    if _marks_outlet(old) != (marked or _marks_outlet(part)):
        return _all_anew(edit, finish, "The first outlet of the layer was marked, or the last one is marked no more.")
    part = finish(part, _line_before(edit, part.lines, rows.drains[part.lines.drain]))
    splice = splice_of(old, part, *stays)
    network = spliced(old, part, splice, drains, structures, shots)
    return Updated(network, _line_before(edit, network.lines, network.lines.drain), part, splice)


def _build(old: Network, drains: Drains, structures: Structures, shots: Shots, outlet_elsewhere: bool) -> Network:
    return build_network(
        drains, structures, shots, limits=old.limits, tolerance_m=old.tolerance_m,
        accept_proposed=old.accept_proposed, outlet_elsewhere=outlet_elsewhere,
    )


def _all_anew(edit: Edit, finish: Finish, why: str) -> Updated:
    network = _build(edit.old, edit.drains, edit.structures, edit.shots, False)
    before = _line_before(edit, network.lines, network.lines.drain)
    return Updated(finish(network, before), before, why_all=why)


def _line_before(edit: Edit, lines: Lines, drain_now: np.ndarray) -> np.ndarray:
    """The old line of every line, -1 for none; those of a drain that is as it was follow one another as they did.

    `drain_now`: the drain of every line, as a row of the tables now.
    """
    kept = np.flatnonzero(edit.kept_drains.now >= 0)
    drain_before = np.full(len(edit.drains), GONE, dtype=np.int64)
    drain_before[edit.kept_drains.now[kept]] = kept
    before = drain_before[drain_now]
    part_of_drain = np.arange(len(lines)) - np.searchsorted(lines.drain, lines.drain)
    return np.where(before < 0, GONE, np.searchsorted(edit.old.lines.drain, before) + part_of_drain)


def _stays(kept: KeptRows, built: np.ndarray) -> Numbers:
    """Rows now of the rows before that stay as they were, and of those of the part."""
    return Numbers(np.where(np.isin(kept.now, built), GONE, kept.now), built)


def _marks_outlet(
    network: Network, drains: np.ndarray | slice = slice(None), structures: np.ndarray | slice = slice(None)
) -> bool:
    """Whether an outlet is marked by some of the drains and structures (masks); see outlets.marks_outlet."""
    placed = np.zeros(len(network.structures), dtype=bool)
    placed[network.outlets.structure[network.outlets.structure >= 0]] = True
    pipe = np.zeros(len(network.drains), dtype=bool)
    pipe[network.lines.drain[network.active]] = True
    pipe &= network.drains.role == "outlet_pipe"
    return bool(placed[structures].any() or pipe[drains].any())
