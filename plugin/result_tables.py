"""Results as columns in the units people read: the tables PIPES, NODES and the findings."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely

from .checks.catalogue import NotYet
from .checks.declare import Check, Severity
from .checks.run import Findings, Results
from .county import County
from .units import Units

PIPES = {
    "drain_id": "text", "name": "text", "role": "text", "station_from": "real", "station_to": "real", "length": "real",
    "from_node": "integer", "to_node": "integer", "system": "integer", "against_drawing": "boolean",
    "area_above": "real", "length_above": "real", "grade_call": "text", "p_reverse": "real", "at_point": "boolean",
}
NODES = {"node": "integer", "kind": "text", "name": "text", "system": "integer", "pipes": "integer"}
FINDINGS = {
    "check": "text", "call": "text", "severity": "text", "title": "text", "remedy": "text", "drain_id": "text",
    "name": "text", "station_from": "real", "station_to": "real", "value": "real", "limit": "real", "unit": "text",
    "probability": "real", "source": "text", "detail": "text", "accepted": "text",
}
NOT_CHECKED = {"check": "text", "drain_id": "text", "name": "text", "why": "text"}
NODE_ALIASES = {
    "node": "Node", "kind": "Kind", "name": "Name", "system": "System", "pipes": "Pieces of pipe that meet",
}
NOT_CHECKED_ALIASES = {"check": "Check", "drain_id": "Drain (empty: all)", "name": "Name", "why": "Why"}


def pipe_aliases(units: Units) -> dict[str, str]:
    """Column heads with units for PIPES."""
    length, area = units.length_name, units.area_name
    return {
        "drain_id": "Drain", "name": "Name", "role": "Role", "station_from": f"From station ({length})",
        "station_to": f"To station ({length})", "length": f"Length ({length})", "from_node": "Upper node",
        "to_node": "Lower node", "system": "System", "against_drawing": "Flows against drawing",
        "area_above": f"Land above ({area})", "length_above": f"Pipe above ({length})", "grade_call": "Grade",
        "p_reverse": "Chance of reverse", "at_point": "At the point",
    }


def finding_aliases(units: Units) -> dict[str, str]:
    """Column heads with units for the findings."""
    length = units.length_name
    return {
        "check": "Check", "call": "Call", "severity": "Severity", "title": "What is wrong", "remedy": "What to do",
        "drain_id": "Drain", "name": "Name", "station_from": f"From station ({length})",
        "station_to": f"To station ({length})", "value": "Value", "limit": "Limit", "unit": "Unit",
        "probability": "Probability", "source": "Source", "detail": "In detail",
        "accepted": "Accepted, with reason",
    }


def pipes_table(
    county: County,
    pieces: np.ndarray,
    from_m: np.ndarray | None = None,
    to_m: np.ndarray | None = None,
    at_point: np.ndarray | None = None,
) -> tuple[dict[str, np.ndarray], np.ndarray]:
    """Columns of PIPES and shapes (in metres) of pieces, or of the stretches `from_m` to `to_m` of them."""
    net, units = county.network, county.units
    from_m = net.pieces.from_m[pieces] if from_m is None else from_m
    to_m = net.pieces.to_m[pieces] if to_m is None else to_m
    line, drain = net.pieces.line[pieces], net.piece_drain[pieces]
    columns = {
        "drain_id": net.drains.drain_id[drain],
        "name": net.drains.name[drain],
        "role": net.drains.role[drain],
        "station_from": net.lines.station_m(line, from_m) / units.length_m,
        "station_to": net.lines.station_m(line, to_m) / units.length_m,
        "length": (to_m - from_m) / units.length_m,
        "from_node": net.node_up[pieces],
        "to_node": net.node_down[pieces],
        "system": net.piece_system[pieces],
        "against_drawing": np.where(net.direction[pieces] == 0, None, net.direction[pieces] < 0),  # unknown stays so
        "area_above": county.area_above_m2[pieces] / units.area_m2,
        "length_above": county.length_above_m[pieces] / units.length_m,
        "grade_call": county.piece_grades.call[pieces],
        "p_reverse": county.piece_grades.p_reverse[pieces],
        "at_point": np.zeros(len(pieces), dtype=bool) if at_point is None else at_point,
    }
    # drawn in flow direction, so that arrows tell the truth
    shapes = net.lines.cut(line, from_m, to_m, backward=net.direction[pieces] < 0)
    return rounded(columns), shapes


def nodes_table(county: County) -> tuple[dict[str, np.ndarray], np.ndarray]:
    """Columns of NODES (outlets, joints, ends) and their coordinates in metres."""
    net = county.network
    kind = np.where(net.node_degree > 1, "joint", "end").astype(object)
    name = np.full(len(net.nodes), None, dtype=object)
    kind[net.outlets.node] = np.where(net.outlets.assumed, "outlet, assumed", "outlet")
    marked = net.outlets.structure >= 0
    name[net.outlets.node[marked]] = net.structures.name[net.outlets.structure[marked]]
    system = np.zeros(len(net.nodes), dtype=np.int64)
    system[net.pieces.node_from] = system[net.pieces.node_to] = net.piece_system
    used = np.flatnonzero(net.node_degree > 0)
    number = np.arange(len(net.nodes))
    columns = {"node": number, "kind": kind, "name": name, "system": system, "pipes": net.node_degree}
    return {c: v[used] for c, v in columns.items()}, net.nodes.xy[used]


def findings_table(
    county: County, findings: Findings, accepted: np.ndarray | None = None
) -> dict[str, np.ndarray]:
    """Columns of findings; value and limit in the unit of the check's kind.

    `accepted`: by finding, what is said of one that somebody lets stand; None for the others.
    """
    net, units = county.network, county.units
    on_drain, on_line = findings.drain >= 0, findings.line >= 0

    def by_check(value) -> np.ndarray:
        values = np.array([value(c) for c in findings.checks] or [None], dtype=object)
        return values[findings.check] if len(findings) else np.zeros(0, dtype=object)

    size = by_check(lambda c: units.size_si(c.kind) if c.kind else 1.0).astype(float)

    def station(at_m: np.ndarray) -> np.ndarray:
        values = np.full(len(findings), np.nan)
        values[on_line] = net.lines.station_m(findings.line[on_line], at_m[on_line]) / units.length_m
        return values

    def of_drain(column: np.ndarray) -> np.ndarray:
        values = np.full(len(findings), None, dtype=object)
        values[on_drain] = column[findings.drain[on_drain]]
        return values

    columns = {
        "check": by_check(lambda c: c.id),
        "call": findings.call,
        "severity": np.array([severity.value for severity in Severity], dtype=object)[findings.rank],
        "title": by_check(lambda c: c.title),
        "remedy": by_check(lambda c: c.remedy),
        "drain_id": of_drain(net.drains.drain_id),
        "name": of_drain(net.drains.name),
        "station_from": station(findings.from_m),
        "station_to": station(findings.to_m),
        "value": findings.value / size,
        "limit": findings.limit / size,
        "unit": by_check(lambda c: units.name(c.kind) if c.kind else ""),
        "probability": findings.probability,
        "source": by_check(lambda c: source_of(c, county)),
        "detail": findings.detail,
        "accepted": np.full(len(findings), None, dtype=object) if accepted is None else accepted,
    }
    return rounded(columns)


def rounded(columns: dict[str, np.ndarray]) -> dict[str, np.ndarray]:
    """Figures without the noise of plan coordinates in the millions; a millionth of any unit is beyond every error."""
    return {c: np.round(v, 6) if v.dtype.kind == "f" else v for c, v in columns.items()}


def source_of(check: Check, county: County) -> str:
    """The source of a check and of the limits it uses."""
    limits = [f"{name}: {county.limits.of(name).shown_source}" for name in check.limits]
    return "; ".join([check.source, *limits])


def finding_shapes(county: County, findings: Findings) -> np.ndarray:
    """Lines of stretches and points of places, in metres; None where a drain has no usable geometry."""
    shapes = np.full(len(findings), None, dtype=object)
    place = findings.place
    known = place & np.isfinite(findings.x_m)
    shapes[known] = shapely.points(findings.x_m[known], findings.y_m[known])
    rows = np.flatnonzero(~place)
    shapes[rows] = county.network.lines.cut(findings.line[rows], findings.from_m[rows], findings.to_m[rows])
    return shapes


def not_checked_table(county: County, results: Results, never: Sequence[NotYet] = ()) -> dict[str, np.ndarray]:
    """Columns of NOT_CHECKED: a row a check and drain; drain empty where it holds for all.

    `never`: checks that are not made at all.
    """
    of_all = np.array([-1])
    parts = [(s.check.id, s.why, of_all if s.drain is None else s.drain) for s in results.not_checked]
    parts += [(one.id, one.why, of_all) for one in never]
    drain = np.concatenate([rows for *_, rows in parts] or [np.zeros(0, dtype=np.int64)])
    count = [len(rows) for *_, rows in parts]

    def spread(words: list[str]) -> np.ndarray:
        return np.repeat(np.array(words, dtype=object), count) if words else np.zeros(0, dtype=object)

    drains = county.network.drains
    return {
        "check": spread([check for check, *_ in parts]),
        "drain_id": np.append(drains.drain_id, None)[drain],  # row -1 is none
        "name": np.append(drains.name, None)[drain],
        "why": spread([why for _, why, _ in parts]),
    }
