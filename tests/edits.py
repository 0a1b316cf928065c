"""Random small archives and random edits of them, for tests of what is done again after an edit. Figures in feet."""

from __future__ import annotations

import builders as b
import shapely
from hypothesis import strategies as st

corner = st.tuples(st.integers(0, 3), st.integers(0, 3)).map(lambda xy: (xy[0] * 50.0, xy[1] * 50.0))
farm = st.integers(0, 3).map(lambda k: k * 190.0)  # farms lie side by side: most systems stay on one
off = st.sampled_from([-3.0, -0.4, 0.0, 0.0, 0.0, 0.0, 0.7, 2.0])
level = st.one_of(st.none(), st.floats(95, 97).map(lambda z: round(z, 3)))


@st.composite
def places(draw, least, most):
    """Places on one farm, some a little off the corners of a grid."""
    east = draw(farm)
    return [(east + x + by, y - by / 2) for (x, y), by in draw(st.lists(st.tuples(corner, off), min_size=least,
                                                                       max_size=most))]


line = places(2, 4).map(shapely.LineString)
point = places(1, 1).map(lambda xy: shapely.Point(xy[0]))
parts = st.lists(line, min_size=2, max_size=2).map(shapely.MultiLineString)
drawn = st.one_of(line, line, line, line, parts, st.none())


def maybe(*words):
    return st.sampled_from([None, *words])


def keys(letter):
    return st.one_of(st.integers(0, 40).map(lambda k: f"{letter}{k}"), st.sampled_from([None, f"{letter}1"]))


drain = st.fixed_dictionaries({
    "drain_id": keys("D"), "geometry": drawn, "role": maybe("lateral", "main", "main", "submain", "outlet_pipe"),
    "status": maybe("in_ground", "in_ground", "in_ground", "abandoned"), "openings": maybe("none", "perforated"),
    "material": maybe("clay", "corrugated_plastic"), "located_by": maybe("level", "machine_log"),
    "diameter": maybe(4.0, 6.0, 12.0), "spacing": maybe(None, 40.0, 73.0), "depth_start": maybe(0.5, 3.0, 9.0),
    "invert_start": level, "invert_end": level, "invert_error": maybe(0.0, 0.1),
})
structure = st.fixed_dictionaries({
    "structure_id": keys("S"), "geometry": point,
    "kind": st.sampled_from(["outlet", "outlet", "joint", "joint", "constant_inflow", "junction_box"]),
    "evidence": maybe("seen", "drawn", "disproved"), "invert": level, "water_level": level,
    "guard": maybe("true", "false"), "flow": maybe(3.0),
})
shot = st.fixed_dictionaries({
    "shot_id": keys("Z"), "geometry": point, "elevation": level,
    "of": maybe("invert", "invert", "pipe_top", "ground"), "drain_id": st.one_of(st.none(), keys("D")),
})
rows = st.fixed_dictionaries({
    "drains": st.lists(drain, min_size=4, max_size=14), "structures": st.lists(structure, max_size=5),
    "shots": st.lists(shot, max_size=5),
})
OF = {"drains": drain, "structures": structure, "shots": shot}


def tables(rows: dict) -> tuple:
    """The rows as the engine's tables."""
    return b.drains(*rows["drains"]), b.structures(*rows["structures"]), b.shots(*rows["shots"])


def edited(draw, rows: dict) -> dict:
    """The rows after one edit by hand."""
    layer = draw(st.sampled_from(["drains", "drains", "drains", "structures", "shots"]))
    kept = list(rows[layer])
    what = draw(st.sampled_from(["add", "delete", "change", "change", "move", "turn", "split", "order"]))
    if what == "add" or not kept:
        kept.insert(draw(st.integers(0, len(kept))), draw(OF[layer]))
        return {**rows, layer: kept}
    row = draw(st.integers(0, len(kept) - 1))
    if what == "delete":
        del kept[row]
    elif what == "order":
        kept.append(kept.pop(row))
    elif what == "change":
        other = draw(OF[layer])
        column = draw(st.sampled_from(sorted(set(other) - {"geometry"})))
        kept[row] = {**kept[row], column: other[column]}
    elif what in ("turn", "split") and kept[row]["geometry"] is not None and layer == "drains":
        kept[row : row + 1] = _turned(kept[row]) if what == "turn" else _split(kept[row])
    else:
        kept[row] = {**kept[row], "geometry": draw(OF[layer])["geometry"]}
    return {**rows, layer: kept}


def _turned(row: dict) -> list[dict]:
    return [{**row, "geometry": shapely.reverse(row["geometry"])}]


def _split(row: dict) -> list[dict]:
    """As a desktop splits: both halves keep all attributes but the key."""
    cut = shapely.line_interpolate_point(row["geometry"], 0.4, normalized=True)
    first, last = shapely.get_point(shapely.get_geometry(row["geometry"], [0, -1]), [0, -1])
    halves = (row["drain_id"], (first, cut)), (None, (cut, last))
    return [{**row, "drain_id": key, "geometry": shapely.LineString(ends)} for key, ends in halves]
