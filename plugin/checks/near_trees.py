"""near-trees: pipe that roots can enter, near trees."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from ..network.near_trees import near_trees as find_near_trees
from .case import Case
from .declare import CANNOT_TELL, FOUND, NotChecked, Severity, Stretches, check


@check(
    id="near-trees",
    title="Roots of trees can reach the pipe",
    remedy="Look here first when the line runs slow; replace with solid pipe and tight joints, or lead the line "
           "around.",
    false_alarm="Trees that are gone, or pipe without openings whose openings are not recorded.",
    severity=Severity.DOUBT,
    source="distance from the pipe to the trunk, row or wood",
    kind="length",
    limits=("tree_distance_high", "tree_distance_ordinary"),
    worst="min",
)
def near_trees(case: Case) -> Iterator[Stretches | NotChecked]:
    """Value: distance of the nearest tree; limit: the distance for its kind. Pipe without openings is left out.

    Call cannot_tell where the openings of the pipe or the kind of the tree are unknown.
    """
    if case.trees is None:
        yield NotChecked("No trees were given: choose TREES (trees, tree rows, woods).")
        return
    net = case.network
    used = np.unique(net.pieces.line)
    openings = net.drains.openings[net.lines.drain[used]]
    open_pipe = used[openings != "none"]
    found = find_near_trees(net.lines, open_pipe, case.trees, case.limits)
    openings_unknown = np.equal(net.drains.openings[net.lines.drain[found.line]], None)
    call = np.where(openings_unknown | found.thirst_unknown, CANNOT_TELL, FOUND).astype(object)
    length, names = case.units.show_length, case.trees.name
    detail = np.array(
        [
            f"{length(end - begin)} of pipe; nearest {names[tree]}, {length(inner)} of it within "
            f"{length(case.limits['tree_distance_ordinary'], 0)}"
            for begin, end, tree, inner in zip(found.from_m, found.to_m, found.tree, found.inner_m)
        ],
        dtype=object,
    )
    yield Stretches(
        found.line, found.from_m, found.to_m, value=found.distance_m, limit=found.limit_m, call=call, detail=detail
    )
