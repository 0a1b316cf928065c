"""A pipe by what people call it."""

from __future__ import annotations

import numpy as np

from ..county import County
from ..network.trace import PlaceOnPipe


def named(county: County, words: str) -> int | None:
    """The drain in the network with this name or key, capitals aside; else the first that begins so; None: no such."""
    net = county.network
    rows, wanted = np.asarray(net.drains_in_network), words.casefold()
    beginning = None
    for row in rows.tolist():
        said = str(net.drains.name[row]).casefold(), str(net.drains.drain_id[row]).casefold()
        if wanted in said:
            return row
        if beginning is None and any(one.startswith(wanted) for one in said):
            beginning = row
    return beginning


def foot_of(county: County, drain: int) -> PlaceOnPipe | None:
    """The lower end of a drain: of its pieces the one with most pipe above, at the end where its water leaves it."""
    net = county.network
    pieces = np.flatnonzero(net.piece_drain == drain)
    if not len(pieces):
        return None
    piece = int(pieces[np.argmax(np.nan_to_num(county.length_above_m[pieces]))])
    at_m = net.pieces.to_m[piece] if net.direction[piece] >= 0 else net.pieces.from_m[piece]
    return PlaceOnPipe(piece, float(at_m), 0.0)
