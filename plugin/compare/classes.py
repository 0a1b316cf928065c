"""What a line of a layout can be, beside an archive. Every word people read about a class stands here."""

from __future__ import annotations

from dataclasses import dataclass

# what is proposed for a line, and what somebody may decide instead
TAKE, JOIN, REPLACE, KEEP, ASK = "take", "join", "replace", "keep", "ask"
ACTIONS = (TAKE, JOIN, REPLACE, KEEP, ASK)
ACTION_WORDS = {
    TAKE: "take as a new pipe",
    JOIN: "take as a new pipe and keep its joint",
    REPLACE: "redraw the archive's pipe like this",
    KEEP: "leave out, the archive has it",
    ASK: "ask before it is taken",
}
ACCEPTING = (TAKE, JOIN, REPLACE)


@dataclass(frozen=True)
class LineClass:
    """One class: `title` says what is so, `remedy` what to do; `action` is proposed.

    `accepted` is what accepting a line of the class does: take, join or replace; "" where it cannot be taken.
    """

    id: str
    title: str
    remedy: str
    action: str
    accepted: str


# the worst first: of several that hold the first decides
CLASSES = (
    LineClass(
        "bad-geometry", "No line that can be used",
        "Draw it again, in one part and with a length, or take it out of the layout.", ASK, "",
    ),
    LineClass(
        "several-parts", "Drawn in several parts that do not meet",
        "Make a line of its own of every part, each with its own key.", ASK, "",
    ),
    LineClass(
        "wrong-place", "Lies where this layout cannot belong",
        "Set the coordinate reference system the file was made in, or take the file in again with its right unit and "
        "order of axes.", ASK, TAKE,
    ),
    LineClass(
        "key-twice", "Its key is used twice in the layout", "Give every line of the layout a key of its own.", ASK, "",
    ),
    LineClass(
        "levels-unlikely", "Its inverts do not fit those of the pipes around",
        "Find out the unit and the vertical datum of the layout's inverts, and take the file in again with them.",
        ASK, TAKE,
    ),
    LineClass(
        "other-shape", "Has the key of a drain of the archive, which is drawn elsewhere",
        "If it is that drain, surveyed or laid anew, accept it: the drain is redrawn and keeps its history. If it is "
        "another pipe, give it a key of its own.", ASK, REPLACE,
    ),
    LineClass(
        "near-duplicate", "Is drawn in the archive already, a little beside",
        "Nothing, if the archive's line is the better one. If this is the better survey, accept it: the archive's "
        "drain is redrawn. If both lie there, decide for take.", KEEP, REPLACE,
    ),
    LineClass(
        "drawn-twice", "Is drawn twice in the layout", "Take one of the two out of the layout.", ASK, TAKE,
    ),
    LineClass(
        "overlap", "Runs along pipe of the archive for part of its length",
        "Cut off what the archive has already, or find out whether both pipes lie there.", ASK, TAKE,
    ),
    LineClass(
        "tie-in-low", "Ties in below the pipe that is to take its water",
        "Water cannot fall in. Have both inverts checked, or lead it to a deeper place.", ASK, TAKE,
    ),
    LineClass(
        "crossing", "Crosses other pipe without a joint",
        "Find out whether they join. If they do, keep a structure of kind joint there, evidence seen or drawn; if not, "
        "one with evidence disproved.", ASK, TAKE,
    ),
    LineClass(
        "loose-end", "Meets no pipe and reaches no outlet",
        "Ask for the missing pipe or the right place of its end; mark a new outlet in the archive's structures first.",
        ASK, TAKE,
    ),
    LineClass(
        "no-outlet", "Joins pipe that reaches no outlet",
        "Settle first what is wrong with the pipe it joins, or mark the outlet in the archive's structures.", ASK, TAKE,
    ),
    LineClass(
        "changes-outlet", "Leads water of the archive's pipes to another outlet",
        "Ask whether that is meant, and tell the owners whose water it is.", ASK, TAKE,
    ),
    LineClass(
        "property-crossing", "Crosses a property line",
        "Ask both owners; have the written permission before it is taken as laid.", ASK, TAKE,
    ),
    LineClass(
        "depends", "Reaches its outlet only by way of a line that waits for a decision",
        "Decide on that line first; then both can be taken.", ASK, TAKE,
    ),
    LineClass(
        "no-role", "Nobody says what it does in its system",
        "Fill in its role (lateral, submain, main, outlet_pipe) or choose the field that says it, and compare again.",
        ASK, "",
    ),
    LineClass(
        "tie-in-unsure", "May tie in below the pipe that is to take its water",
        "The inverts are too close to tell: have both shot at the joint.", ASK, TAKE,
    ),
    LineClass(
        "near-joint", "Nearly meets the pipe that is to take its water",
        "Accept it where the two do join: the line is taken as drawn, and a structure of kind joint keeps the joint.",
        JOIN, JOIN,
    ),
    LineClass(
        "other-facts", "Is in the archive as drawn here, with other facts",
        "Compare the facts; accept it if those of the layout are right: they replace the archive's.", ASK, REPLACE,
    ),
    LineClass("identical", "Is in the archive as drawn here", "Nothing: the archive has it.", KEEP, ""),
    LineClass("new", "New pipe without a doubt", "Take it.", TAKE, TAKE),
)
CLASS_IDS = tuple(one.id for one in CLASSES)
RANK = {one.id: place for place, one in enumerate(CLASSES)}
OF_ID = {one.id: one for one in CLASSES}
