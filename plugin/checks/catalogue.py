"""All checks, in the order of the report within one severity."""

from __future__ import annotations

from dataclasses import dataclass

from .against_drawing import against_drawing
from .bad_geometry import bad_geometry
from .crossing_not_joined import crossing_not_joined
from .declare import Check
from .deep_trench import deep_trench
from .duplicate import duplicate
from .elevation_contradicts_outlet import elevation_contradicts_outlet
from .flat_grade import flat_grade
from .loop import loop
from .loose_end import loose_end
from .near_trees import near_trees
from .no_outlet import no_outlet
from .outlet_low import outlet_low
from .outlet_unguarded import outlet_unguarded
from .past_outlet import past_outlet
from .proposed_joint import proposed_joint
from .reverse_grade import reverse_grade
from .sag import sag
from .shallow_cover import shallow_cover
from .sill_downstream import sill_downstream
from .smaller_downstream import smaller_downstream
from .split import split
from .stale_inverts import stale_inverts
from .steep_grade import steep_grade
from .under_lot import under_lot
from .unknown_elevation import unknown_elevation
from .unknown_size import unknown_size

NETWORK_CHECKS: tuple[Check, ...] = (
    loose_end,
    proposed_joint,
    crossing_not_joined,
    no_outlet,
    past_outlet,
    loop,
    split,
    against_drawing,
    elevation_contradicts_outlet,
    duplicate,
    bad_geometry,
)
"""Those that need the drawn lines only."""

CHECKS: tuple[Check, ...] = (
    *NETWORK_CHECKS[:9],
    stale_inverts,
    reverse_grade,
    flat_grade,
    steep_grade,
    sag,
    sill_downstream,
    shallow_cover,
    deep_trench,
    near_trees,
    smaller_downstream,
    outlet_low,
    outlet_unguarded,
    under_lot,
    unknown_elevation,
    unknown_size,
    *NETWORK_CHECKS[9:],
)


@dataclass(frozen=True)
class NotYet:
    """A check users may look for that this version does not make: id, what it would tell, why not."""

    id: str
    title: str
    why: str


NOT_YET: tuple[NotYet, ...] = (
    NotYet(
        "overloaded", "Load and size: whether a pipe can carry the water of the land above it",
        "This version cannot check it.",
    ),
)
