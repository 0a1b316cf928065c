"""Lines that are straight but for the hand that drew them."""

from __future__ import annotations

import numpy as np

from ..network.lines import Lines

STRAIGHT_M = 0.25  # vertices this near to the chord of their line are no bends; no map of pipe is better than that


def straightened(lines: Lines, off_m: float = STRAIGHT_M) -> Lines:
    """The same lines with only their ends where no vertex is more than `off_m` off the chord.

    Distances along a line stay those of the drawn line; geometry is that of the drawn line and must not be used.
    """
    line = np.repeat(np.arange(len(lines)), np.diff(lines.first))
    start, end = lines.xy[lines.first[:-1]], lines.xy[lines.first[1:] - 1]
    chord = end - start
    size = np.hypot(chord[:, 0], chord[:, 1])
    offset = lines.xy - start[line]
    off = np.abs(chord[line, 0] * offset[:, 1] - chord[line, 1] * offset[:, 0]) / np.maximum(size, 1e-9)[line]
    bent = np.maximum.reduceat(off, lines.first[:-1]) > off_m if len(lines) else off > 0
    bent |= lines.length_m > 1.001 * size  # doubles back along its own chord
    keep = bent[line]
    keep[lines.first[:-1]] = keep[lines.first[1:] - 1] = True
    counts = np.where(bent, np.diff(lines.first), 2)
    first = np.concatenate([[0], np.cumsum(counts)])
    return Lines(
        lines.geometry, lines.drain, lines.station0_m, lines.length_m, lines.xy[keep], lines.z[keep], first,
        lines.along_m[keep],
    )
