"""Networks with known answers, and the answer of a network in a form that does not depend on how it was drawn."""

from __future__ import annotations

import builders as b
import numpy as np
import shapely
from fallkeeper.plugin.county import County
from fallkeeper.plugin.limits import Limits
from fallkeeper.plugin.network.build import build_network
from fallkeeper.plugin.network.loose_ends import find_loose_ends
from fallkeeper.plugin.units import Units

STEM = ((0, 0), (0, 100), (0, 200), (0, 300))
FIVE_FT = 5 * b.FT


def a01_rows(upward: bool = False, inverts: tuple = ()) -> list[dict]:
    """A main of three drains, four laterals; `upward`: mains drawn from the outlet; `inverts` at the places of STEM."""
    rows = []
    for k, name in enumerate(("M1", "M2", "M3")):
        ends = (k, k + 1) if upward else (k + 1, k)
        known = {}
        if inverts:
            known = {"invert_start": inverts[ends[0]], "invert_end": inverts[ends[1]], "invert_error": 0.01}
        rows.append(b.main(name, *(STEM[end] for end in ends), **known))
    return [
        *rows,
        b.lateral("L1", (0, 100), (-871.2, 100)),
        b.lateral("L2", (-871.2, 200), (0, 200)),
        b.lateral("L3", (871.2, 200), (0, 200)),
        b.lateral("L4", (-435.6, 300), (0, 300)),
    ]


def a03_rows() -> list[dict]:
    """A main with an end that nearly meets it (P), one that does not (Q), one that meets it (R), one across it (S)."""
    return [
        b.main("M", (0, 0), (0, 300)),
        b.lateral("P", (103, 150), (3, 150)),
        b.lateral("Q", (112, 200), (12, 200)),
        b.lateral("R", (100, 50), (0, 50)),
        b.lateral("S", (40, 250), (-40, 250)),
    ]


def a04_rows() -> list[dict]:
    """A ring of three pipes, and a place S from which two pipes of unknown size go down; 3 acres above S."""
    return [
        *(b.pipe("AB", (0, 0), (100, 0)), b.pipe("BC", (100, 0), (50, 80)), b.pipe("CA", (50, 80), (0, 0))),
        b.pipe("S1", (500, 0), (400, -100), invert_start=95.2, invert_end=95.0),
        b.pipe("S2", (500, 0), (600, -100), invert_start=95.2, invert_end=95.0),
        b.lateral("U", (500, 2613.6), (500, 0)),
    ]


def a15_rows() -> list[dict]:
    """Two ways from 2 down to 1, 3 acres above 2, inverts 95.0 at the outlet, 95.1 at 1, 95.15 at x, 95.2 at 2."""
    return [
        b.main("1O", (0, 100), (0, 0), invert_start=95.1, invert_end=95.0),
        b.main("21", (0, 200), (0, 100), invert_start=95.2, invert_end=95.1),
        b.main("2x", (0, 200), (50, 150), invert_start=95.2, invert_end=95.15),
        b.main("x1", (50, 150), (0, 100), invert_start=95.15, invert_end=95.1),
        b.lateral("L", (0, 200 + 2613.6), (0, 200)),
    ]


def build(rows: list[dict], outlets: list[dict] = (), shots: list[dict] = (), unit_m: float = b.FT, **options):
    """A network of rows in feet; without `outlets` none is marked."""
    return build_network(
        b.drains(*rows, unit_m=unit_m), b.structures(*outlets, unit_m=unit_m), b.shots(*shots, unit_m=unit_m), **options
    )


def drains_of(network, pieces: np.ndarray) -> set[str]:
    """Ids of the drains of pieces."""
    return b.ids(network.drains.drain_id, network.piece_drain[pieces])


def ids_of_lines(network, lines: np.ndarray) -> list[str]:
    return network.drains.drain_id[network.lines.drain[lines]].tolist()


def flow_between(network) -> set[tuple]:
    """Every piece as (drain, place it flows from, place it flows to) in whole feet; or ends and "open" or "unknown"."""
    up, down = (network.nodes.xy[node] / b.FT for node in (network.node_up, network.node_down))
    found = set()
    for k, drain in enumerate(network.drains.drain_id[network.piece_drain]):
        ends = [tuple(np.round(xy).astype(int).tolist()) for xy in (up[k], down[k])]
        if network.direction[k]:
            found.add((drain, *ends))
        else:
            found.add((drain, *sorted(ends), "open" if network.open_both_ways[k] else "unknown"))
    return found


def answer(network, origin_ft: tuple = (0.0, 0.0)) -> dict[str, list]:
    """What must depend neither on the order of the rows, nor on how they were drawn, nor on where the county lies.

    Pieces with their flow, pipe above and ring; joints, crossings, outlets, duplicates and loose ends by drain and
    place. Places are feet from `origin_ft`.
    """
    county = County(network, Limits(), Units())
    above = county.length_above_m / b.FT
    ids = network.drains.drain_id[network.lines.drain]

    def places(xy: np.ndarray) -> list[tuple]:
        return [tuple(row) for row in (np.round(xy / b.FT - origin_ft, 1) + 0.0).tolist()]

    up, down = places(network.nodes.xy[network.node_up]), places(network.nodes.xy[network.node_down])
    known = network.direction != 0
    pieces = [
        (drain, *((u, v) if k else sorted((u, v))), bool(k), round(float(a), 1) if np.isfinite(a) else None, bool(ring))
        for drain, u, v, k, a, ring in zip(ids[network.pieces.line], up, down, known, above, network.flow.loop >= 0)
    ]
    loose = find_loose_ends(network)
    joints = (network.made, network.proposed)
    pairs = [{tuple(sorted(p)) for p in zip(ids[j.line], ids[j.other])} for j in joints]
    crossings = network.crossings
    return {
        "pieces": sorted(pieces, key=repr),
        "made": sorted(pairs[0]),
        "proposed": sorted(pairs[1]),
        "crossings": sorted((*sorted(p), xy) for *p, xy in zip(ids[crossings.line], ids[crossings.other],
                                                                  places(crossings.xy))),
        "outlets": sorted(places(network.nodes.xy[network.outlets.node])),
        "loose": sorted(zip(ids[loose.line], places(loose.xy))),
        "without outlet": sorted(network.drains.drain_id[network.drains_without_outlet]),
    }


def reversed_row(row: dict) -> dict:
    """The same drain drawn the other way: geometry turned, figures of start and end swapped."""
    turned = dict(row, geometry=shapely.reverse(row["geometry"]))
    for what in ("invert", "depth"):
        start, end = row.get(f"{what}_start"), row.get(f"{what}_end")
        if start is not None or end is not None:
            turned[f"{what}_start"], turned[f"{what}_end"] = end, start
    return turned
