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
    rows = rows[leaving[net.node_up[rows]] > 1]
    rows = rows[np.argsort(net.node_up[rows], kind="stable")]
    node, first = np.unique(net.node_up[rows], return_index=True)
    line = net.pieces.line[rows[first]]
    at = np.where(net.direction[rows[first]] > 0, net.pieces.from_m[rows[first]], net.pieces.to_m[rows[first]])
    names = np.split(case.name_of_line(net.pieces.line[rows]), first[1:])
    detail = np.array(["by " + " and ".join(dict.fromkeys(of_node)) for of_node in names[: len(node)]], dtype=object)
    call = np.where(np.isin(node, net.assumed_divide_nodes), UNKNOWN, FOUND).astype(object)
    yield Places(line, at, net.nodes.xy[node], call=call, detail=detail)
