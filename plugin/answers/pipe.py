"""A pipe in a few words: what stands beside the cursor, and what heads an answer."""

from __future__ import annotations

import math

import numpy as np

from ..county import County
from ..elevation.sources import SOURCE_WORDS, Source
from ..network.trace import PlaceOnPipe
from ..schema.values import VALUE_LISTS

_UNKNOWN = {
    "role": "role unknown", "material": "material unknown", "openings": "openings unknown",
    "evidence": "nobody says how it is known",
}


def said_pipe(county: County, drain: int) -> str:
    """Name, role, size, material, openings and how it is known: 'Main B: main, 8 in, clay tile, open joints; seen'."""
    drains = county.network.drains
    parts = [_word("role", drains.role[drain]), _size(county, drain)]
    parts += [_word("material", drains.material[drain]), _word("openings", drains.openings[drain])]
    return f"{name_of(county, drain)}: {', '.join(parts)}; {_word('evidence', drains.evidence[drain])}"


def name_of(county: County, drain: int) -> str:
    """What people call a drain, with its key where that is another word."""
    name, key = county.network.drains.name[drain], county.network.drains.drain_id[drain]
    return str(name) if name == key else f"{name} ({key})"


def said_place(county: County, place: PlaceOnPipe, to_outlet_m: float) -> str:
    """The drain and where on it, counted from the outlet; from the first vertex where no outlet is reached (NaN)."""
    net, show = county.network, county.units.show_station
    line = net.pieces.line[place.piece]
    name = name_of(county, int(net.lines.drain[line]))
    if math.isnan(to_outlet_m):
        return f"{name}, {show(float(net.lines.station_m(line, place.at_m)))} from its first vertex"
    return f"{name}, {show(to_outlet_m)} from the outlet"


def said_invert(county: County, place: PlaceOnPipe) -> str:
    """The best invert at a place with its error and source; a sentence where nobody knows it."""
    line, at_m = np.array([county.network.pieces.line[place.piece]]), np.array([place.at_m])
    known = county.evidence.invert_at(line, at_m)
    z_m, sigma_m = float(known.z_m[0]), float(known.sigma_m[0])
    if math.isnan(z_m):
        return "Its invert here is unknown."
    size, unit = county.units.length_m, county.units.length_name
    source = SOURCE_WORDS[Source(int(known.source[0]))]
    return f"Invert here {z_m / size:,.2f} {unit}, \u00b1 {sigma_m / size:.2f} {unit} (one standard error; {source})."


def _size(county: County, drain: int) -> str:
    diameter_m = float(county.network.drains.diameter_m[drain])
    if math.isnan(diameter_m):
        return "size unknown"
    return f"{diameter_m / county.units.diameter_m:g} {county.units.diameter_name}"


def _word(value_list: str, value: str | None) -> str:
    return _UNKNOWN[value_list] if value is None else VALUE_LISTS[value_list].get(value, str(value)).lower()
