"""Lines of a layout that lead the archive's water to another outlet."""

from __future__ import annotations

import numpy as np
from scipy.sparse import csr_matrix
from scipy.sparse.csgraph import connected_components

from .found import Found
from .outlets import Drained
from .trials import Trial

_SOME_M = 0.1  # less than this is rounding


def lines_that_reroute(before: Trial, after: Trial) -> Found:
    """Lines in systems where pipe of the archive drains elsewhere than before.

    Lines of the layout that hang together and meet the archive's pipe at one place only, with no outlet of their own,
    cannot change its way.
    """
    net, row = after.network, after.layout_row()
    moved = _moved_drains(before.drained, after.drained, after.of_archive)
    system = net.component[net.pieces.node_from]
    affected = np.unique(system[np.isin(net.piece_drain, moved)])
    mine = row[net.piece_drain] >= 0
    group = _groups(net, mine)
    meets = _meeting_nodes(net, mine, group)
    able = mine & np.isin(system, affected) & np.isin(group, np.flatnonzero(meets > 1))
    rows = np.unique(row[net.piece_drain[able]])
    names = ", ".join(str(name) for name in net.drains.name[moved[:5]])
    more = f" and {len(moved) - 5:,} more" if len(moved) > 5 else ""
    return Found.of("changes-outlet", rows, detail=f"{names}{more} would drain to another outlet" if len(rows) else "")


def _moved_drains(before: Drained, after: Drained, count: int) -> np.ndarray:
    """Drains of the archive some water of which no longer goes to the outlet it went to."""
    sums, keys = [], {}
    for drained in (before, after):
        net, shares = drained.county.network, drained.shares
        drain = net.piece_drain[shares.piece]
        names = [keys.setdefault(key, len(keys)) for key in drained.outlet_key]
        kept = (shares.outlet >= 0) & (drain < count)
        label = np.array(names, dtype=np.int64)[shares.outlet[kept]]
        sums.append((drain[kept], label, (net.pieces.length_m[shares.piece] * shares.share)[kept]))
    width = max(len(keys), 1)
    tables = [
        np.bincount(drain * width + label, weights=length, minlength=count * width) for drain, label, length in sums
    ]
    return np.unique(np.flatnonzero(tables[0] - tables[1] > _SOME_M) // width)


def _groups(net, mine: np.ndarray) -> np.ndarray:
    """By piece: the number of the set of pieces of the layout it hangs together with, -1 for the archive's."""
    nodes = len(net.nodes)
    a, b = net.pieces.node_from[mine], net.pieces.node_to[mine]
    graph = csr_matrix((np.ones(len(a), dtype=np.int8), (a, b)), shape=(nodes, nodes))
    number = connected_components(graph, directed=False)[1]
    return np.where(mine, number[net.pieces.node_from], -1)


def _meeting_nodes(net, mine: np.ndarray, group: np.ndarray) -> np.ndarray:
    """By group: how many of its nodes meet pipe of the archive or are outlets."""
    ends = [net.pieces.node_from, net.pieces.node_to]
    other = np.zeros(len(net.nodes), dtype=bool)
    for end in ends:
        other[end[~mine]] = True
    other[net.outlets.node] = True
    node = np.concatenate([end[mine] for end in ends])
    pair = np.unique(np.stack([np.tile(group[mine], 2), node]), axis=1)
    pair = pair[:, other[pair[1]]]
    return np.bincount(pair[0].astype(np.int64), minlength=int(group.max(initial=0)) + 1)
