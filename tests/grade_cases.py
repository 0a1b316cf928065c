"""The hidden reverse (A06): a main whose end-to-end grade hides a stretch that rises downstream."""

from __future__ import annotations

import builders as b

OUTLET = (b.outlet(0, 0),)
INVERTS = {0: 95.00, 100: 95.10, 200: 95.25, 300: 95.20, 400: 95.35}


def four_drains(**fields):
    """One drain from station to station, each with its two inverts."""
    y = list(INVERTS)
    return [
        b.main(
            f"M{low}", (0, low), (0, high), invert_start=INVERTS[low], invert_end=INVERTS[high], invert_error=0.01,
            diameter=4.0, **fields,
        )
        for low, high in zip(y, y[1:])
    ]


def one_drain():
    """One drain, and the inverts as shots."""
    shots = [b.shot(f"S{y}", 0, y, z, error=0.01) for y, z in INVERTS.items()]
    return {"rows": [b.main("M", (0, 0), (0, 400), diameter=4.0)], "shots": shots}
