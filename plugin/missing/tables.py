"""PROBABLE, its findings and DOUBTS in the units people read."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
import shapely

from ..checks.case import Case
from ..checks.catalogue import no_outlet
from ..checks.run import run_checks
from ..county import County
from ..ranking.table import ranks
from ..result_tables import FINDINGS, finding_shapes, findings_table, rounded
from ..units import Units
from .doubts import Doubts
from .probable import GAP, LATERAL, MAIN, Probable

PROBABLE = {
    "kind": "text", "name": "text", "confidence": "text", "area": "real", "length": "real", "reasons": "text",
    "role": "text", "evidence": "text", "flow_known": "boolean", "spacing": "real", "diameter": "real",
    "material": "text", "invert_start": "real", "invert_end": "real",
}
DOUBTS = {
    "rank": "integer", "area": "real", "settle": "text", "doubt": "text", "todo": "text", "check": "text",
    "drain_id": "text", "name": "text", "station": "real",
}


class _Words(NamedTuple):
    title: str
    remedy: str
    source: str


_WORDS = {
    GAP: _Words("A main probably goes on over a gap",
                "Probe half-way between the two ends; where pipe is found, draw it into the archive.",
                "bearing, size and inverts of the two ends"),
    MAIN: _Words("A main probably runs along a row of open ends",
                 "Probe across the line that is drawn; where pipe is found, draw it into the archive.",
                 "places and inverts of the open ends"),
    LATERAL: _Words("A lateral is probably missing in a row",
                    "Probe across the line that is drawn; where pipe is found, draw it into the archive.",
                    "distances between the laterals around"),
}


def probable_aliases(units: Units) -> dict[str, str]:
    length = units.length_name
    return {
        "kind": "Kind", "name": "Where", "confidence": "How sure", "area": f"Land at stake ({units.area_name})",
        "length": f"Length ({length})", "reasons": "Why", "role": "Role", "evidence": "Evidence",
        "flow_known": "Flow known", "spacing": f"Spacing ({length})", "diameter": f"Diameter ({units.diameter_name})",
        "material": "Material", "invert_start": f"Invert at the start ({length})",
        "invert_end": f"Invert at the end ({length})",
    }


def doubt_aliases(units: Units) -> dict[str, str]:
    return {
        "rank": "Rank", "area": f"Land that depends on it ({units.area_name})", "settle": "What settles it",
        "doubt": "What is in doubt", "todo": "What to do", "check": "Check", "drain_id": "Drain", "name": "Name",
        "station": f"Station ({units.length_name})",
    }


def probable_table(county: County, probable: Sequence[Probable]) -> tuple[dict[str, np.ndarray], np.ndarray]:
    """Columns of PROBABLE and lines, drawn the way the water flows where that is known."""
    units = county.units

    def texts(words) -> np.ndarray:
        column = np.empty(len(probable), dtype=object)
        column[:] = list(words)
        return column

    def figures(values, size: float) -> np.ndarray:
        return np.array(list(values), dtype=float) / size

    length = units.length_m
    return rounded({
        "kind": texts(one.kind for one in probable),
        "name": texts(_where(county, one) for one in probable),
        "confidence": texts(one.confidence for one in probable),
        "area": figures((one.area_m2 for one in probable), units.area_m2),
        "length": figures((one.geometry.length for one in probable), length),
        "reasons": texts("; ".join(one.reasons) + "." for one in probable),
        "role": texts(one.role for one in probable),
        "evidence": texts("assumed" for _ in probable),
        "flow_known": np.array([one.flow_known for one in probable], dtype=bool),
        "spacing": figures((one.spacing_m for one in probable), length),
        "diameter": figures((one.diameter_m for one in probable), units.diameter_m),
        "material": texts(one.material for one in probable),
        "invert_start": figures((one.invert_start_m for one in probable), length),
        "invert_end": figures((one.invert_end_m for one in probable), length),
    }), _shapes(probable)


def _shapes(probable: Sequence[Probable]) -> np.ndarray:
    shapes = np.empty(len(probable), dtype=object)
    shapes[:] = [one.geometry for one in probable]
    return shapes


def _where(county: County, one: Probable) -> str:
    names = Case(county).name_of_line(np.array([one.beside[0], one.beside[-1]]))
    return f"between {names[0]} and {names[1]}"


def missing_findings(county: County, probable: Sequence[Probable]) -> tuple[dict[str, np.ndarray], np.ndarray]:
    """Columns of FINDINGS and lines: the probable pipe with the land at stake, then pipe that reaches no outlet."""
    found = run_checks(Case(county), [no_outlet]).findings
    found = found.where(~found.place)
    below = findings_table(county, found)
    words = [_WORDS[one.kind] for one in probable]
    drain = county.network.lines.drain[np.array([one.beside[0] for one in probable], dtype=np.int64)]
    unknown = np.full(len(probable), np.nan)
    values = {
        "check": [one.kind for one in probable], "call": ["found"] * len(probable),
        "severity": ["doubt"] * len(probable), "title": [word.title for word in words],
        "remedy": [word.remedy for word in words], "drain_id": county.network.drains.drain_id[drain],
        "name": county.network.drains.name[drain], "unit": [county.units.area_name] * len(probable),
        "source": [word.source for word in words],
        "detail": [f"{one.confidence}: {'; '.join(one.reasons)}" for one in probable],
        "value": np.array([one.area_m2 for one in probable], dtype=float) / county.units.area_m2,
        "station_from": unknown, "station_to": unknown, "limit": unknown, "probability": unknown,
        "accepted": [None] * len(probable),
    }
    columns = {}
    for name, kind in FINDINGS.items():
        own = np.asarray(values[name], dtype=float if kind == "real" else object)
        columns[name] = np.concatenate([own, below[name]])
    return rounded(columns), np.concatenate([_shapes(probable), finding_shapes(county, found)])


def doubts_table(county: County, doubts: Doubts) -> tuple[dict[str, np.ndarray], np.ndarray]:
    """Columns of DOUBTS and points, most land first; equal land has one rank."""
    net, units = county.network, county.units
    on_line = doubts.line >= 0
    drain = net.lines.drain[np.maximum(doubts.line, 0)]
    station = net.lines.station_m(np.maximum(doubts.line, 0), doubts.at_m) / units.length_m
    return rounded({
        "rank": ranks(doubts.area_m2 / units.area_m2, 4),
        "area": doubts.area_m2 / units.area_m2,
        "settle": doubts.settle,
        "doubt": doubts.what,
        "todo": doubts.todo,
        "check": doubts.kind,
        "drain_id": np.where(on_line, net.drains.drain_id[drain], None),
        "name": np.where(on_line, net.drains.name[drain], None),
        "station": np.where(on_line, station, np.nan),
    }), shapely.points(doubts.xy_m)
