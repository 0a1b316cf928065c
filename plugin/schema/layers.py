"""The layers of an archive, in the order in which they are made and shown."""

from __future__ import annotations

from .network_layers import DRAINS, SHOTS, STRUCTURES
from .place_layers import LAND, LANDMARKS, TREE_ROWS, TREES, WOODS
from .record_layers import CALLS, LAYOUT_LINES, LAYOUTS, READINGS, REPAIRS, TAPES
from .tables import ACCEPTED, ARCHIVE, HISTORY, LIMITS, PREDICTIONS

LAYERS = (
    ARCHIVE,
    DRAINS,
    SHOTS,
    STRUCTURES,
    LAND,
    TREES,
    TREE_ROWS,
    WOODS,
    LANDMARKS,
    CALLS,
    READINGS,
    TAPES,
    LAYOUTS,
    LAYOUT_LINES,
    REPAIRS,
    LIMITS,
    ACCEPTED,
    PREDICTIONS,
    HISTORY,
)
