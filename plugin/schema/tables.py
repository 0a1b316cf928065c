"""The archive's own tables: what it is, what an office set, what was decided, and its history."""

from __future__ import annotations

from .declare import INTEGER, NONE, REAL, TEXT, Field, Layer, day, figure, key, moment, notes, text

ARCHIVE = Layer(
    name="archive",
    title="About this archive",
    one="archive",
    meaning="One row: what all other layers hold to.",
    geometry=NONE,
    shown_as='"name"',
    fields=(
        text("name", "Name", "What the archive is called.", "Main"),
        text("units", "Units", "Units of every figure in the archive.", "Main", values="units"),
        text("vertical_datum", "Vertical datum", "What elevations count from.", "Main"),
        text("ground", "Ground", "File of the ground raster.", "Main"),
        text("ground_unit", "Unit of the ground", "Unit of the ground's elevations.", "Main", values="ground_unit"),
        Field("schema_version", INTEGER, "Schema version", "Which version of these layers the file has.", "Main"),
        day("created_on", "Created on", "When the archive was made.", "Main"),
        *notes(),
    ),
)

LIMITS = Layer(
    name="limits",
    title="Limits",
    one="limit",
    meaning="Thresholds the office has changed; what is absent keeps its default.",
    geometry=NONE,
    shown_as='"name"',
    fields=(
        text("name", "Name", "Which limit.", "Main"),
        Field("value", REAL, "Value", "The threshold, in the unit beside it.", "Main"),
        text("unit", "Unit", "Unit of the value; empty: that of the default.", "Main"),
        text("source", "Source", "Who says so.", "Main"),
        *notes(),
    ),
)

ACCEPTED = Layer(
    name="accepted",
    title="Accepted findings",
    one="accepted finding",
    meaning="Findings somebody has looked at and lets stand.",
    geometry=NONE,
    shown_as='concat("check", \' \', "drain_id")',
    fields=(
        text("check", "Check", "Id of the check.", "Main"),
        Field("drain_id", TEXT, "Drain", "The drain found.", "Main", refers_to="drains"),
        figure("station_from", "Station from", "Along the drawn line, from its first point.", "Main", "length",
               least=0),
        figure("station_to", "Station to", "Along the drawn line, from its first point.", "Main", "length",
               least=0),
        Field("value", REAL, "Value", "The figure that was accepted, in the finding's unit.", "Main"),
        text("reason", "Reason", "Why it may stand.", "Main"),
        text("accepted_by", "Accepted by", "Who decided.", "Note"),
        moment("accepted_on", "Accepted on", "When.", "Note"),
        *notes(),
    ),
)

PREDICTIONS = Layer(
    name="predictions",
    title="Predictions",
    one="prediction",
    meaning="Where a plug was expected, to be compared with what the dig found.",
    geometry=NONE,
    shown_as='"prediction_id"',
    fields=(
        key("prediction_id", "Prediction", "prediction", required=False),
        moment("made_on", "Made on", "When it was computed.", "Main"),
        text("reaches", "Reaches", "The reaches with their probabilities, as JSON.", "Main"),
        Field("repair_id", TEXT, "Repair", "The dig that answered it.", "Main", refers_to="repairs"),
        Field("score", REAL, "Score", "How well it was met.", "Main"),
        *notes(),
    ),
)

HISTORY = Layer(
    name="history",
    title="History",
    one="entry of the history",
    meaning="Every addition, change and deletion, written by the file itself.",
    geometry=NONE,
    shown_as='concat("at", \' \', "layer", \' \', "key")',
    fields=(
        Field("seq", INTEGER, "Number", "Order of the entries.", "Main"),
        text("batch", "Batch", "The merge, repair or undo that wrote it.", "Main"),
        text("layer", "Layer", "Which layer was changed.", "Main"),
        text("key", "Key", "Key of the row.", "Main"),
        text("new_key", "New key", "Key of the row that replaced it, or the changed key.", "Main"),
        text("action", "Action", "What was done.", "Main", values="history_action"),
        text("at", "At", "When: UTC, ISO 8601, to the millisecond.", "When"),
        text("who", "Who", "Who did it.", "When"),
        text("why", "Why", "Why.", "When"),
        text("before", "Before", "The row as it was, as JSON.", "When"),
        *notes(),
    ),
)
