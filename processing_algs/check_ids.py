"""Ids of the checks for the dialog, which opens before the engine is loaded; a test holds them to the catalogue."""

CHECK_IDS = (
    "loose-end", "proposed-joint", "crossing-not-joined", "no-outlet", "past-outlet", "loop", "split",
    "against-drawing", "elevation-contradicts-outlet", "stale-inverts", "reverse-grade", "flat-grade",
    "steep-grade", "sag", "sill-downstream",
    "shallow-cover", "deep-trench", "near-trees", "smaller-downstream", "outlet-low", "outlet-unguarded", "under-lot",
    "unknown-elevation", "unknown-size", "duplicate", "bad-geometry",
)
