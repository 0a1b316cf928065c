"""The classes of lines of a layout, which a dialog shows before the engine is loaded."""

from __future__ import annotations

LINE_CLASSES = (
    "bad-geometry", "several-parts", "wrong-place", "key-twice", "levels-unlikely", "other-shape", "near-duplicate",
    "drawn-twice", "overlap", "tie-in-low", "crossing", "loose-end", "no-outlet", "changes-outlet",
    "property-crossing", "depends", "no-role", "tie-in-unsure", "near-joint", "other-facts", "identical", "new",
)  # fmt: skip
