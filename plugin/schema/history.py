"""What the history of an archive is, whatever database keeps it; the triggers of each are made from this.

Every addition, change and deletion of a row in a layer of `logged_layers()` leaves one row in `history`:

`seq`      order, and the only one: times can be equal, and a clock can be set back
`batch`    the merge, repair or undo that wrote it, from the note below; NULL for an edit by hand
`layer`    the layer's name
`key`      the row's key before the change (of an added row: its key); a row without a key is called
           WITHOUT_KEY + the number of the row in its table
`new_key`  update: the key after the change, NULL where it stayed the same; replaced: that of the row that took
           the place; else NULL
`action`   insert, update, delete; replaced: the row was pushed out by another one with its key or number (an INSERT
           OR REPLACE), written before the row of the newcomer; gap: no row was changed, but until now changes may
           have been lost, because the triggers were missing or another program had replaced the table (`why` says so);
           NULL: nothing was changed or lost, and `why` says what was mended
`at`       UTC, ISO 8601 with milliseconds and Z
`who`      from the note, else of an added or changed row `edited_by` as it is after the change. The file does not
           know who deletes a row: NULL
`why`      from the note
`before`   JSON of all columns of the row as it was, the row's number included; NULL for an added row, whose state
           is that of the next entry with its key, else the one it has now. Unknown is null, a whole number stays one,
           a real has 17 digits or as many more as it takes to read the same double again, infinity is 9.0e+999, a
           geometry is the hex of its stored bytes (in a database: of plain well-known binary), a blob elsewhere
           {"hex": "..."}, a text with control characters other than tab and line ends {"text": hex of its UTF-8}

The note is one row that a program writes at the beginning of its transaction and empties at its end; so it stands for
that transaction alone (in a database: settings of the transaction). A save of attributes and geometry by QGIS is two
changes, so two rows.
"""

from __future__ import annotations

from .declare import Layer
from .layers import LAYERS

HISTORY = "history"
INSERT, UPDATE, DELETE, REPLACED, GAP = "insert", "update", "delete", "replaced", "gap"

NOTE = "history_note"
NOTE_FIELDS = ("batch", "who", "why")

WITHOUT_KEY = "#"
ROW_NUMBER = "fid"
GEOMETRY = "geom"
NO_SHAPE = b""  # where a shape is asked for: the row has no place any more


def logged_layers() -> tuple[Layer, ...]:
    """The layers whose changes are kept: all but the history itself."""
    return tuple(layer for layer in LAYERS if layer.name != HISTORY)


def declared_columns(layer: Layer) -> tuple[str, ...]:
    """The columns of a layer as an archive is made with; a user may have added others, which are kept too."""
    return (ROW_NUMBER, *((GEOMETRY,) if layer.geometry else ()), *(field.name for field in layer.fields))
