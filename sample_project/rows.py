"""Ossel Flats, the invented county, as rows: one source for the sample archive and for the tests.

Coordinates are feet from the origin below, in EPSG:3734 (US survey foot); figures are in US units of an
archive (feet, inches, acres, gallons a minute, inches a day). Every name and figure is made up.
"""

from __future__ import annotations

import csv
from pathlib import Path
from typing import NamedTuple

CRS = "EPSG:3734"
ORIGIN_FT = (2_100_000.0, 800_000.0)
COEFFICIENT_IN_DAY = 0.375
_LATERALS = Path(__file__).with_name("laterals.csv")
_MAIN_X = {"A": 1000.0, "B": 4000.0}


class Row(NamedTuple):
    """One row of a layer. `places` is (x, y), a list of them for a line, a list of rings for an area, None for none."""

    places: object
    values: dict[str, object]


def ground_ft(x: float, y: float) -> float:
    """Elevation of the ground at a local place; kinks at x = 1000, 2500 and 4000."""
    return 699.0 + 0.001 * y + 0.001 * abs(x - (_MAIN_X["A"] if x < 2500 else _MAIN_X["B"]))


def main_invert_ft(y: float) -> float:
    """Invert of both mains; each lateral joins 0.50 above it."""
    return 695.6 + 0.001 * y


def layer_rows(bridged: bool = False) -> dict[str, list[Row]]:
    """Layer -> its rows. `bridged` adds the 80 ft that the two sheets of main B leave out."""
    return {
        "drains": _mains(bridged) + _laterals(),
        "structures": _structures(),
        "land": _land(),
        "tree_rows": [Row([(1035, 860), (1035, 1060)], {"tree_id": "TR-1", "name": "Cottonwoods", "thirst": "high"})],
        "landmarks": _landmarks(),
        "calls": _calls(),
        "readings": _readings(),
        "tapes": _tapes(),
        "layouts": _layouts(),
    }


def _known(layout: str) -> dict[str, object]:
    """What is the same for every drain of the sample."""
    return {
        "status": "in_ground", "invert_error": 0.03, "evidence": "drawn", "located_by": "level", "position_error": 3.0,
        "layout_id": layout,
    }


def _main(key: str, y0: float, y1: float, diameter: float, material: str, openings: str | None, layout: str) -> Row:
    x = _MAIN_X[key[0]]
    values = {
        "drain_id": key, "name": f"Main {key[0]}", "role": "main", "diameter": diameter, "material": material,
        "openings": openings, "invert_start": round(main_invert_ft(y0), 4), "invert_end": round(main_invert_ft(y1), 4),
    }
    return Row([(x, y0), (x, y1)], {**_known(layout), **values})


def _mains(bridged: bool) -> list[Row]:
    plastic = "corrugated_plastic"
    mains = [
        _main("A-1", 0, 1130, 15, plastic, "perforated", "L-A"),
        _main("A-2", 1130, 2250, 12, plastic, "perforated", "L-A"),
        _main("B-1", 0, 1100, 10, "clay", "open_joints", "L-B1"),
        _main("B-2", 1100, 1610, 12, plastic, None, "L-B1"),
        _main("B-3", 1690, 2050, 12, plastic, None, "L-B2"),
    ]
    if bridged:
        gap = _main("B-gap", 1610, 1690, 12, plastic, None, "L-B1")
        gap.values.update(evidence="assumed", layout_id=None)
        mains.append(gap)
    return mains


def _laterals() -> list[Row]:
    """150 laterals of 871.2 ft at 50 ft, so that each serves one acre."""
    rows = []
    with _LATERALS.open(encoding="utf-8", newline="") as lines:
        for line in csv.DictReader(lines):
            y = float(line["y1"])
            layout = "L-A" if line["main"] == "A" else "L-B1" if y <= 1610 else "L-B2"
            values = {
                "drain_id": line["id"], "name": line["id"], "role": "lateral", "diameter": float(line["dia_in"]),
                "material": "corrugated_plastic", "openings": "perforated", "spacing": 50.0,
                "invert_start": float(line["invert_far"]), "invert_end": float(line["invert_joint"]),
            }
            ends = [(float(line["x1"]), y), (float(line["x2"]), float(line["y2"]))]
            rows.append(Row(ends, {**_known(layout), **values}))
    return rows


def _structures() -> list[Row]:
    def outlet(key: str, x: float) -> Row:
        return Row((x, 0), {
            "structure_id": key, "name": f"Outlet {key}", "kind": "outlet", "invert": 695.6, "evidence": "seen",
            "receiving_water": "Ditch 9", "water_level": 694.4, "bed_level": 692.6,
        })

    spring = {"structure_id": "SP-1", "name": "Spring box", "kind": "constant_inflow", "invert": 697.85, "flow": 4.0,
              "evidence": "seen"}
    return [outlet("OA", 1000), outlet("OB", 4000), Row((1000, 2250), spring)]


_T, _K, _M = "Tarrowick Farm", "Ebbing Kiln Farm", "Low Sedge Farm"
_HALL_LOT = (1030, 860, 1230, 1080)


def _box(x0: float, y0: float, x1: float, y1: float) -> list[tuple[float, float]]:
    return [(x0, y0), (x1, y0), (x1, y1), (x0, y1), (x0, y0)]


def _land() -> list[Row]:
    boxes = {
        "F1": (_T, (100, 50, 1000, 1100)), "F2": (_T, (1000, 50, 1900, 1100)), "F3": (_K, (100, 1160, 1000, 2200)),
        "F4": (_K, (1000, 1160, 1900, 2200)), "F5": (_T, (3100, 50, 4000, 1100)), "F6": (_M, (4000, 50, 4900, 1100)),
        "F7": (_M, (3100, 1160, 4000, 2100)), "F8": (_K, (4000, 1160, 4900, 2100)),
    }
    rows = []
    for name, (owner, box) in boxes.items():
        rings = [_box(*box)]
        if name == "F2":  # the lot is no part of the field around it
            rings.append(_box(*_HALL_LOT)[::-1])
        values = {"land_id": name, "name": name, "owner": owner, "use": "field", "coefficient": COEFFICIENT_IN_DAY}
        rows.append(Row(rings, values))
    hall = {"land_id": "HALL", "name": "Hall Lot", "owner": "Meeting hall", "use": "lot"}
    road = {"land_id": "ROAD", "name": "Heronmoor Road", "owner": "Ossel County", "use": "road"}
    return [*rows, Row([_box(*_HALL_LOT)], hall), Row([_box(0, 1100, 5000, 1160)], road)]


def _landmarks() -> list[Row]:
    marks = (
        ("L1", "Pump-house corner", 916, 1187, True), ("L2", "Headwall south of the road", 1112, 1159, True),
        ("L3", "Iron pin", 1045, 1015, True), ("L4", "Headwall of main B", 4035, 1100, True),
        ("L5", "Culvert stone at the road edge", 3900, 1100, True), ("L6", "Stake of the last crew", 985, 1080, False),
    )
    return [
        Row((x, y), {"landmark_id": key, "name": name, "durable": durable, "position_error": 0.1})
        for key, name, x, y, durable in marks
    ]


def _calls() -> list[Row]:
    calls = (
        ("C-1", (950, 1040), "2025-03-18T08:10:00", _T, "North-east part of F1 is wet, water stands at the road"),
        ("C-2", (1000, 1250), "2025-03-19T17:30:00", _K, "F3 and F4 stay wet along the main"),
        ("C-3", (4000, 430), "2025-03-25T11:00:00", _T, "A hole 3 ft across has opened over main B"),
    )
    return [
        Row(place, {"call_id": key, "received_on": when, "caller": caller, "about": about, "status": "open"})
        for key, place, when, caller, about in calls
    ]


def _readings() -> list[Row]:
    """What is known of the plug in main A; where it really is stands nowhere in the sample."""
    crew = "Probing crew"
    readings = (
        ("R-1", "wet_ground", (940, 1020), "2025-03-18T09:00:00", _T, "C-1", {"days_since_rain": 2.0}),
        ("R-2", "wet_ground", (1000, 1130), "2025-03-18T09:20:00", _T, "C-1", {"days_since_rain": 2.0}),
        ("R-3", "dry_hole", (1000, 700), "2025-03-20T10:00:00", crew, "C-1", {"days_since_rain": 4.0}),
        ("R-4", "dry_hole", (1000, 850), "2025-03-20T10:30:00", crew, "C-1", {"days_since_rain": 4.0}),
        ("R-5", "standing", (1000, 950), "2025-03-20T11:00:00", crew, "C-1", {"days_since_rain": 4.0}),
        ("R-6", "boil", (1003, 912), "2025-03-20T11:15:00", crew, "C-1", {"days_since_rain": 4.0}),
        ("R-7", "outlet_flow", (1000, 0), "2025-03-27T14:00:00", crew, "C-1", {"days_since_rain": 11.0, "flow": 0.3}),
        ("R-8", "collapsed", (4000, 430), "2025-03-25T12:00:00", _T, "C-3", {"note": "Hole 3 ft across"}),
    )
    return [
        Row(place, {"reading_id": key, "kind": kind, "observed_on": when, "observer": who, "call_id": call, **more})
        for key, kind, place, when, who, call, more in readings
    ]


def _tapes() -> list[Row]:
    """Old ties of the joint south of the road (the third figure is a slip of the pen), and the sketch of the hole."""
    ties = (
        ("T-1", "P1", "L1", None, 140.0, "distance", None, 0.5),
        ("T-2", "P1", "L2", None, 140.0, "distance", None, 0.5),
        ("T-3", "P1", "L3", None, 78.0, "distance", None, 0.5),
        ("T-4", "Hole on main B", "L4", "L5", 35.0, "along", None, None),
        ("T-5", "Hole on main B", "L4", "L5", 670.0, "away", "south", None),
    )
    names = ("tape_id", "target", "landmark_id", "toward_id", "distance", "kind", "side", "tape_error")
    return [Row(None, dict(zip(names, tie))) for tie in ties]


def _layouts() -> list[Row]:
    layouts = (
        ("L-A", "Main A with F1 to F4", "Paper plan", 3.0), ("L-B1", "Main B, south sheet", "Paper plan", 3.0),
        ("L-B2", "Main B, north sheet", "Paper plan", 3.0), ("L-SK", "Neighbour's sketch of the hole", "Sketch", 12.0),
    )
    return [
        Row(None, {"layout_id": key, "name": name, "source_kind": source, "position_error": error})
        for key, name, source, error in layouts
    ]
