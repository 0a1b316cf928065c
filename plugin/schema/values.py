"""Value lists: what is stored, and what people read. Unknown is NULL and stands in no list."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

VALUE_LISTS: Mapping[str, Mapping[str, str]] = MappingProxyType(
    {
        "units": {"us": "US: ft, in, acres, gal/min", "metric": "Metric: m, mm, ha, L/s"},
        "ground_unit": {"m": "Metre", "ft": "Foot", "us-ft": "US survey foot"},
        "role": {
            "lateral": "Lateral",
            "submain": "Submain",
            "main": "Main",
            "outlet_pipe": "Outlet pipe",
        },
        "drain_status": {
            "in_ground": "In the ground",
            "proposed": "Proposed",
            "abandoned": "Abandoned, may hold water",
            "removed": "Removed",
        },
        "material": {
            "corrugated_plastic": "Corrugated plastic",
            "dual_wall_plastic": "Dual-wall plastic",
            "smooth_plastic": "Smooth plastic",
            "clay": "Clay tile",
            "concrete": "Concrete tile",
        },
        "openings": {
            "perforated": "Perforated",
            "none": "None (solid pipe)",
            "open_joints": "Open joints",
        },
        "evidence": {
            "seen": "Seen",
            "probed": "Probed",
            "drawn": "Drawn on a map",
            "assumed": "Assumed",
            "disproved": "Disproved",
        },
        "located_by": {
            "level": "Level or laser",
            "rtk": "RTK",
            "machine_log": "Machine log",
            "probe": "Probe",
            "aerial": "Aerial picture",
            "scanned_map": "Scanned map",
            "tape": "Tape",
            "memory": "Memory",
        },
        "shot_of": {
            "invert": "Invert (inside bottom)",
            "pipe_top": "Top of the pipe",
            "ground": "Ground",
            "water": "Water",
        },
        "structure_kind": {
            "outlet": "Outlet",
            "joint": "Joint",
            "surface_inlet": "Surface inlet",
            "blind_inlet": "Blind inlet",
            "junction_box": "Junction box",
            "cleanout": "Cleanout",
            "breather": "Breather",
            "relief_well": "Relief well",
            "control_structure": "Control structure",
            "stub_end": "Stub end",
            "constant_inflow": "Constant inflow (spring, sump)",
        },
        "land_use": {"field": "Field", "road": "Road", "lot": "Lot", "pond": "Pond", "other": "Other"},
        "thirst": {
            "high": "High (willow, poplar, cottonwood, elm, soft maple)",
            "ordinary": "Ordinary",
        },
        "call_status": {"open": "Open", "dug": "Dug", "closed": "Closed"},
        "reading_kind": {
            "wet_ground": "Wet ground",
            "dry_ground": "Dry ground",
            "running": "Water running in the pipe",
            "standing": "Water standing in the pipe",
            "dry_hole": "Dry hole",
            "boil": "Boil (water comes up)",
            "roots": "Roots",
            "collapsed": "Collapsed",
            "burrow": "Burrow",
            "outlet_flow": "Flow at the outlet",
            "probe_hit": "Probe hit the pipe",
            "probe_miss": "Probe missed the pipe",
        },
        "tape_kind": {"distance": "Distance", "along": "Along an edge", "away": "Away from an edge"},
        "layout_done": {
            "take": "Taken as a new pipe",
            "join": "Taken with its joint",
            "replace": "The archive's pipe was redrawn like it",
        },
        "history_action": {
            "insert": "Added",
            "update": "Changed",
            "delete": "Deleted",
            "replaced": "Replaced by another row",
            "gap": "Changes may be missing before this",
        },
    }
)
