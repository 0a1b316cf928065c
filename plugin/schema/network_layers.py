"""Pipes, what stands on them, and the levels shot on them."""

from __future__ import annotations

from .declare import BOOLEAN, LINE, POINT, Field, Layer, day, error, figure, key, link, notes, text

_ENDS = (
    figure("depth_start", "Depth at start", "Ground to invert at the first point of the drawn line.", "Levels",
           "length", least=0),
    figure("depth_end", "Depth at end", "Ground to invert at the last point of the drawn line.", "Levels",
           "length", least=0),
    figure("invert_start", "Invert at start", "Elevation of the inside bottom at the first point of the drawn line.",
           "Levels", "length"),
    figure("invert_end", "Invert at end", "Elevation of the inside bottom at the last point of the drawn line.",
           "Levels", "length"),
    error("invert_error", "Error of the inverts", "Standard error of both inverts.", "Levels"),
)

DRAINS = Layer(
    name="drains",
    title="Drains (tile)",
    one="drain",
    meaning="Buried pipe, one row a drain, drawn in either direction; start and end are those of the drawn line.",
    geometry=LINE,
    shown_as='coalesce("name", "drain_id")',
    fields=(
        key("drain_id", "Drain", "drain"),
        text("name", "Name", "What people call it.", "Main"),
        text("role", "Role", "What the drain does in its system.", "Main", values="role", required=True),
        text("status", "Status", "Whether it carries water; empty counts as in the ground.", "Main",
             values="drain_status"),
        text("material", "Material", "What the pipe is made of.", "Main", values="material"),
        figure("diameter", "Inside diameter", "Inside diameter of the pipe.", "Main", "diameter", least=0, above=True),
        text("openings", "Openings", "How water and roots can get in.", "Main", values="openings"),
        *_ENDS,
        figure("spacing", "Spacing", "Distance to the parallel neighbour; a pipe with a spacing serves land.", "Levels",
               "length", least=0, above=True),
        Field("sock", BOOLEAN, "Filter sock", "Whether the pipe is wrapped in a filter.", "Levels"),
        text("evidence", "Evidence", "How the place of the pipe is known.", "Evidence", values="evidence"),
        text("located_by", "Located by", "What found its place and its inverts.", "Evidence", values="located_by"),
        error("position_error", "Error of the place", "Standard error of the drawn line, sideways.", "Evidence"),
        link("layout_id", "Layout", "The drawing or file the drain came from.", "Evidence", "layouts"),
        day("installed_on", "Installed on", "When it was laid.", "Evidence"),
        day("in_ground_from", "In the ground from", "First day it lay there as drawn.", "Evidence"),
        day("in_ground_to", "In the ground to", "Last day it lay there as drawn.", "Evidence"),
        link("replaced_by", "Replaced by", "The drain laid in its place, where it was abandoned or removed.", "Note",
             "drains"),
        *notes(),
    ),
)

SHOTS = Layer(
    name="shots",
    title="Level shots",
    one="shot",
    meaning="Elevations measured at points: of the invert, the top of the pipe, the ground or the water.",
    geometry=POINT,
    shown_as='coalesce("elevation", "shot_id")',
    fields=(
        key("shot_id", "Shot", "shot"),
        link("drain_id", "Drain", "The drain it was shot on; empty: the nearest.", "Main", "drains"),
        figure("elevation", "Elevation", "The level read.", "Main", "length", required=True),
        text("of", "Of", "What was shot.", "Main", values="shot_of", required=True),
        error("error", "Error", "Standard error of the elevation.", "Main"),
        day("taken_on", "Taken on", "When it was shot.", "Main"),
        *notes(),
    ),
)

STRUCTURES = Layer(
    name="structures",
    title="Structures and joints",
    one="structure",
    meaning="Outlets, inlets, boxes, wells and joints. A joint seen or drawn joins what meets there; a disproved one "
    "keeps it apart.",
    geometry=POINT,
    shown_as='coalesce("name", "structure_id")',
    fields=(
        key("structure_id", "Structure", "structure"),
        text("name", "Name", "What people call it.", "Main"),
        text("kind", "Kind", "What stands there.", "Main", values="structure_kind", required=True),
        text("evidence", "Evidence", "How it is known.", "Main", values="evidence"),
        figure("flow", "Constant inflow", "Flow of a spring, sump or overflow that runs all year.", "Main", "flow",
               least=0),
        text("photo", "Photo", "File of a picture.", "Main"),
        figure("invert", "Invert", "Elevation of the inside bottom.", "Levels", "length"),
        figure("rim", "Rim", "Elevation of the rim or lid.", "Levels", "length"),
        text("receiving_water", "Receiving water", "Ditch or stream an outlet runs into.", "Levels"),
        figure("water_level", "Normal water level", "Normal level of the receiving water.", "Levels", "length"),
        figure("bed_level", "Bed level", "Elevation of the bottom of the receiving water.", "Levels", "length"),
        Field("guard", BOOLEAN, "Animal guard", "Whether a guard or flap keeps animals out of the outlet.", "Levels"),
        *notes(),
    ),
)
