"""All checks, in the order of the report within one severity."""

from __future__ import annotations

from .against_drawing import against_drawing
from .bad_geometry import bad_geometry
from .crossing_not_joined import crossing_not_joined
from .declare import Check
from .duplicate import duplicate
from .elevation_contradicts_outlet import elevation_contradicts_outlet
from .loop import loop
from .loose_end import loose_end
from .no_outlet import no_outlet
from .past_outlet import past_outlet
from .proposed_joint import proposed_joint
from .split import split

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

CHECKS: tuple[Check, ...] = NETWORK_CHECKS
