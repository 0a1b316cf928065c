"""split: a place from which water leaves by more than one pipe."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from .case import Case
from .declare import FOUND, UNKNOWN, Places, Severity, check


@check(
    id="split",
    title="Water can leave this place by more than one pipe",
    remedy="Shoot the inverts of the pipes here and see which one runs; sums above are shared between them until then.",
    false_alarm="High points from which a pipe falls both ways, and mains doubled on purpose.",
    severity=Severity.DOUBT,
    source="network of the drawn lines",
)
def split(case: Case) -> Iterator[Places]:
    """One row a place; call unknown where no level tells and each outlet was given the nearer half."""
    net = case.network
    rows = np.flatnonzero(net.direction != 0)
    leaving = np.bincount(net.node_up[rows], minlength=len(net.nodes))
    node = np.flatnonzero(leaving > 1)
    order = rows[np.argsort(net.node_up[rows], kind="stable")]
    first = order[np.searchsorted(net.node_up[order], node)]
    line = net.pieces.line[first]
    at = np.where(net.direction[first] > 0, net.pieces.from_m[first], net.pieces.to_m[first])
    by_node = np.split(order, np.searchsorted(net.node_up[order], np.arange(1, len(net.nodes))))
    detail = np.array(
        ["by " + " and ".join(dict.fromkeys(net.drains.name[net.piece_drain[by_node[n]]].tolist())) for n in node],
        dtype=object,
    )
    call = np.where(np.isin(node, net.assumed_divide_nodes), UNKNOWN, FOUND).astype(object)
    yield Places(line, at, net.nodes.xy[node], call=call, detail=detail)
