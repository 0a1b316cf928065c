"""What people report, find, measure and do."""

from __future__ import annotations

from .declare import LINE, NONE, POINT, REAL, Field, Layer, day, error, figure, key, link, moment, notes, text

CALLS = Layer(
    name="calls",
    title="Calls",
    one="call",
    meaning="Complaints and requests, from the call until the job is closed.",
    geometry=POINT,
    place_required=False,
    shown_as='coalesce("about", "call_id")',
    fields=(
        key("call_id", "Call", "call"),
        moment("received_on", "Received on", "When the call came in.", "Main"),
        text("caller", "Caller", "Who called.", "Main"),
        text("contact", "Contact", "How to reach the caller.", "Main"),
        text("about", "About", "What it is about, in the caller's words.", "Main"),
        text("status", "Status", "How far the job is.", "Main", values="call_status"),
        text("locate_ticket", "Utility locate ticket", "Number of the request to mark buried utilities.", "Job"),
        day("locate_valid_until", "Locate valid until", "Last day on which the marks count.", "Job"),
        day("done_on", "Done on", "When the job was finished.", "Job"),
        *notes(),
    ),
)

READINGS = Layer(
    name="readings",
    title="Readings",
    one="reading",
    meaning="What somebody saw or probed at a place, and when.",
    geometry=POINT,
    place_required=False,
    shown_as='concat(represent_value("kind"), \' \', format_date("observed_on", \'yyyy-MM-dd\'))',
    fields=(
        key("reading_id", "Reading", "reading"),
        text("kind", "Kind", "What was found.", "Main", values="reading_kind", required=True),
        moment("observed_on", "Observed on", "When it was seen.", "Main"),
        text("observer", "Observer", "Who saw it.", "Main"),
        link("call_id", "Call", "The call it belongs to.", "Main", "calls"),
        text("photo", "Photo", "File of a picture.", "Main"),
        figure("depth", "Depth", "Below ground, to the top of the pipe or to the water.", "Figures", "length", least=0),
        figure("level", "Water level", "Elevation of the water.", "Figures", "length"),
        figure("flow", "Flow", "Flow measured, as with a bucket and a watch.", "Figures", "flow", least=0),
        Field("days_since_rain", REAL, "Days since rain", "Days since the last rain that made drains run.", "Figures",
              least=0),
        # rain is counted in the small unit, as diameters are
        figure("rain", "Rain", "Depth of that rain.", "Figures", "diameter", least=0),
        *notes(),
    ),
)

TAPES = Layer(
    name="tapes",
    title="Tape figures",
    one="tape figure",
    meaning="Distances taped from landmarks to a target.",
    geometry=NONE,
    shown_as='concat("target", \': \', "distance", \' from \', "landmark_id")',
    fields=(
        key("tape_id", "Tape figure", "tape figure"),
        text("target", "Target", "What was taped to; figures with the same target belong together.", "Main",
             required=True),
        link("landmark_id", "From landmark", "Where the tape began.", "Main", "landmarks", required=True),
        link("toward_id", "Toward landmark", "The second landmark of an edge.", "Main", "landmarks"),
        figure("distance", "Distance", "What the tape read.", "Main", "length", required=True, least=0),
        text("kind", "Kind", "A plain distance, a stretch along an edge, or a distance away from it.", "Main",
             values="tape_kind"),
        text("side", "Side", "On which side the target lies: north of the edge, left.", "Main"),
        error("tape_error", "Error of the tape", "Standard error of the figure.", "Note"),
        *notes(),
    ),
)

LAYOUTS = Layer(
    name="layouts",
    title="Layouts",
    one="layout",
    meaning="Drawings and files that drains were taken from.",
    geometry=NONE,
    shown_as='coalesce("name", "layout_id")',
    fields=(
        key("layout_id", "Layout", "layout"),
        text("name", "Name", "Title of the drawing or file.", "Main"),
        text("made_by", "Made by", "Who drew it.", "Main"),
        day("made_on", "Made on", "When it was drawn.", "Main"),
        text("source_kind", "Kind of source", "Paper plan, sketch, machine log.", "Main"),
        text("scan", "Scan", "File of the scan.", "Main"),
        error("position_error", "Error of the place", "Standard error of what is drawn on it.", "Main"),
        *notes(),
    ),
)

LAYOUT_LINES = Layer(
    name="layout_lines",
    title="Lines of layouts",
    one="line of a layout",
    meaning="Every line of a layout that was taken in, as it was brought, whether it became a drain or not.",
    geometry=LINE,
    place_required=False,
    shown_as='concat("brought_as", \' \', "class")',
    fields=(
        key("layout_line_id", "Line", "line of a layout"),
        link("layout_id", "Layout", "The layout it is of.", "Main", "layouts", required=True),
        text("brought_as", "Key in the layout", "Key it was brought with; empty: none.", "Main"),
        text("class", "Class", "What it was found to be beside the archive.", "Main"),
        text("done", "Done", "What was done with it; empty: it was left out.", "Main", values="layout_done"),
        link("drain_id", "Drain", "The drain it became or redrew.", "Main", "drains"),
        text("source", "As brought", "All its fields and its shape as they were brought, as JSON.", "Note"),
        *notes(),
    ),
)

REPAIRS = Layer(
    name="repairs",
    title="Repairs",
    one="repair",
    meaning="What was dug up, found and done.",
    geometry=POINT,
    place_required=False,
    shown_as='concat(format_date("done_on", \'yyyy-MM-dd\'), \' \', "done")',
    fields=(
        key("repair_id", "Repair", "repair"),
        link("drain_id", "Drain", "The drain repaired.", "Main", "drains"),
        day("done_on", "Done on", "When it was dug.", "Main"),
        text("found", "Found", "What was wrong.", "Main"),
        text("done", "Done", "What was done.", "Main"),
        figure("length", "Length", "Length of pipe replaced.", "Main", "length", least=0),
        text("photo", "Photo", "File of a picture.", "Main"),
        link("call_id", "Call", "The call it answers.", "Note", "calls"),
        *notes(),
    ),
)
