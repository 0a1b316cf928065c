"""Gaps in a main: two ends in line, of which one reaches no outlet."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from ..checks.case import Case
from ..county import County
from ..elevation.grade import p_reverse, sigma_of_fall_m
from ..network.joints import end_xy
from .probable import GAP, GUESS, LIKELY, POSSIBLE, Probable, alike
from .stake import Systems

_MAINS = ("main", "submain", "outlet_pipe")
_HEADING_M = 20.0  # the last stretch of a pipe, which tells where it is heading
_DRAWN_OFF_M = 1.0  # sideways error of drawing, which turns a short bridge a lot
_LIKE_GRADE = 0.5  # share by which the grade of a bridge may differ from that of the pipes beside it


@dataclass(frozen=True)
class _Ends:
    """Open ends of pipes: their places, headings outward, lines and inverts."""

    end: np.ndarray
    xy: np.ndarray
    heading: np.ndarray
    system: np.ndarray
    z_m: np.ndarray
    sigma_m: np.ndarray
    is_main: np.ndarray

    @property
    def line(self) -> np.ndarray:
        return self.end // 2


def gaps_in_mains(county: County) -> list[Probable]:
    """Bridges between ends in line, the best first; two systems are bridged once.

    Laterals and pipe of unknown role count only where the inverts say that the lower end of one looks at the upper end
    of the other: else every two rows of laterals that meet back to back would be joined.
    """
    systems = Systems(county, joined=True)
    ends = _open_ends(county, systems)
    a, b, bend = _in_line(county, systems, ends)
    upper = _upper_end(county, systems, ends, a, b)
    keep = upper >= 0
    a, b, bend, upper = a[keep], b[keep], bend[keep], upper[keep]
    length_m = np.hypot(*(ends.xy[a] - ends.xy[b]).T)
    size = county.network.drains.diameter_m[county.network.lines.drain[ends.line]]
    other_size = np.isfinite(size[a]) & np.isfinite(size[b]) & (size[a] != size[b])
    score = bend / county.limits["bridge_bend"] + length_m / county.limits["bridge_longest"] + other_size
    chosen = _best(ends, a, b, score)
    up, low = np.where(upper == 0, a, b)[chosen], np.where(upper == 0, b, a)[chosen]
    bridges = [(int(u), int(d), float(t)) for u, d, t in zip(up, low, bend[chosen])]
    bridges = _toward_outlets(ends.system, bridges, systems.has_outlet)
    return [_probable(county, systems, ends, *bridge, bridges) for bridge in bridges]


def _open_ends(county: County, systems: Systems) -> _Ends:
    net = county.network
    lines = net.lines
    role = net.drains.role[lines.drain]
    of_end = net.nodes.of_end
    end = np.flatnonzero((of_end >= 0) & np.repeat(net.used, 2))
    node = of_end[end]
    end = end[(net.node_degree[node] == 1) & ~np.isin(node, net.outlets.node)]
    waiting = net.proposed.where(~net.applied)
    end = end[~np.isin(end, waiting.end)]
    line, last = end // 2, end % 2 == 1
    xy = end_xy(lines)[end]
    length = lines.length_m[line]
    before = lines.points_at(line, np.where(last, np.maximum(length - _HEADING_M, 0), np.minimum(_HEADING_M, length)))
    heading = xy - before
    at_m = np.where(last, length, 0.0)
    return _Ends(
        end, xy, heading / np.hypot(*heading.T)[:, None], systems.of_line[line],
        net.levels.level_at(line, at_m), net.levels.sigma_at(line, at_m), np.isin(role[line].astype(str), _MAINS),
    )


def _in_line(
    county: County, systems: Systems, ends: _Ends
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Pairs of ends of two systems, one without outlet, that look at each other; and the greater of their bends."""
    points = shapely.points(ends.xy)
    longest = county.limits["bridge_longest"]
    a, b = shapely.STRtree(points).query(points, predicate="dwithin", distance=longest)
    served = systems.has_outlet[ends.system]
    pair = (a < b) & (ends.system[a] != ends.system[b]) & ~(served[a] & served[b])
    pair &= ends.is_main[a] == ends.is_main[b]
    a, b = a[pair], b[pair]
    across = ends.xy[b] - ends.xy[a]
    gap_m = np.hypot(*across.T)
    with np.errstate(invalid="ignore", divide="ignore"):
        one = np.degrees(np.arccos(np.clip((ends.heading[a] * across).sum(axis=1) / gap_m, -1, 1)))
        two = np.degrees(np.arccos(np.clip((ends.heading[b] * -across).sum(axis=1) / gap_m, -1, 1)))
        allowed = np.maximum(county.limits["bridge_bend"], np.degrees(np.arctan(2 * _DRAWN_OFF_M / gap_m)))
    bend = np.maximum(one, two)
    good = (gap_m > 0) & (bend <= np.minimum(allowed, 60.0))
    return a[good], b[good], bend[good]


def _upper_end(county: County, systems: Systems, ends: _Ends, a: np.ndarray, b: np.ndarray) -> np.ndarray:
    """Which end water would come from: 0 the first, 1 the second, -1 neither: no bridge.

    Water runs toward the system that has an outlet. Of two without outlet the inverts tell, else the first drawn is
    taken as the upper one. Other pipe than mains must fall toward the gap on one side and away from it on the other.
    """
    served = systems.has_outlet
    upper = np.where(served[ends.system[b]], 0, np.where(served[ends.system[a]], 1, -2))
    with np.errstate(invalid="ignore"):
        upper = np.where(upper == -2, np.where(ends.z_m[b] > ends.z_m[a], 1, 0), upper)
    up, low = np.where(upper == 0, a, b), np.where(upper == 0, b, a)
    far = _far_level(county, ends)
    with np.errstate(invalid="ignore"):
        falls = (far[up] > ends.z_m[up]) & (ends.z_m[up] >= ends.z_m[low]) & (ends.z_m[low] > far[low])
    return np.where(ends.is_main[a] | falls, upper, -1)


def _far_level(county: County, ends: _Ends) -> np.ndarray:
    """Invert at the other end of each end's line."""
    net, line = county.network, ends.line
    return net.levels.level_at(line, np.where(ends.end % 2, 0.0, net.lines.length_m[line]))


def _best(ends: _Ends, a: np.ndarray, b: np.ndarray, score: np.ndarray) -> np.ndarray:
    """The best pairs of which each takes ends that are still open and joins systems that are still apart."""
    taken: set[int] = set()
    root: dict[int, int] = {}

    def find(one: int) -> int:
        while root.get(one, one) != one:
            one = root[one]
        return one

    chosen = []
    for row in np.argsort(score, kind="stable").tolist():
        one, two = int(a[row]), int(b[row])
        first, second = find(int(ends.system[one])), find(int(ends.system[two]))
        if first != second and not {one, two} & taken:
            taken |= {one, two}
            root[first] = second
            chosen.append(row)
    return np.array(chosen, dtype=np.int64)


def _toward_outlets(system: np.ndarray, bridges: list, served: np.ndarray) -> list:
    """Bridges one after another lead toward the system with the outlet, whatever was taken of each alone."""
    reached = {int(c) for u, d, _ in bridges for c in system[[u, d]] if served[c]}
    turned, waiting = [], list(bridges)
    while waiting:
        ready = [one for one in waiting if reached & set(system[list(one[:2])].tolist())]
        if not ready:
            return turned + waiting
        for up, low, bend in ready:
            if int(system[low]) not in reached:
                up, low = low, up
            turned.append((up, low, bend))
        reached |= {int(system[up]) for up, _, _ in turned}
        waiting = [one for one in waiting if one not in ready]
    return turned


def _probable(
    county: County, systems: Systems, ends: _Ends, up: int, low: int, bend: float, bridges: list
) -> Probable:
    net = county.network
    line = shapely.LineString([ends.xy[up], ends.xy[low]])
    pair = ends.line[[up, low]]
    drain = net.lines.drain[pair]
    names, show = Case(county).name_of_line(pair), county.units.show_length
    behind = _behind(county, systems, ends, up, low, bridges)
    diameter, material = alike(net.drains.diameter_m[drain], np.nan), alike(net.drains.material[drain], None)
    reasons = [
        f"{show(line.length)} between the ends of {names[0]} and {names[1]}, in line to {bend:.0f} degrees",
        _size_words(county, net.drains.diameter_m[drain]),
    ]
    grade_words, fits = _grade_words(county, ends, up, low, line.length)
    reasons.append(grade_words)
    if material is not None:
        reasons.append(f"both are {str(material).replace('_', ' ')}")
    crossed = _crossed(county, systems, line, behind, pair)
    if crossed:
        reasons.append("it would cross " + ", ".join(crossed))
    size_fits = bool(np.isfinite(diameter))
    sizes = net.drains.diameter_m[drain]
    differ = bool(np.isfinite(sizes).all()) and not size_fits
    good = bend <= 0.5 * county.limits["bridge_bend"] and not crossed and not differ
    confidence = LIKELY if good and size_fits and fits else GUESS if fits is False or differ else POSSIBLE
    return Probable(
        kind=GAP, geometry=line, confidence=confidence, reasons=tuple(reasons),
        area_m2=float(systems.nowhere_m2[behind].sum()), beside=tuple(pair.tolist()),
        role=str(alike(net.drains.role[drain], None) or "main"),
        flow_known=bool(fits or _leads_out(systems, ends, low, bridges)), diameter_m=float(diameter),
        material=material, invert_start_m=float(ends.z_m[up]), invert_end_m=float(ends.z_m[low]),
        systems=frozenset(behind),
    )


def _leads_out(systems: Systems, ends: _Ends, low: int, bridges: list) -> bool:
    """Whether the system below a bridge has an outlet, of its own or by further bridges."""
    below = {int(ends.system[u]): int(ends.system[d]) for u, d, _ in bridges}
    now, served = int(ends.system[low]), systems.has_outlet
    for _ in bridges:
        if served[now] or now not in below:
            break
        now = below[now]
    return bool(served[now])


def _behind(
    county: County, systems: Systems, ends: _Ends, up: int, low: int, bridges: list
) -> list[int]:
    """Systems without outlet that would drain through a bridge: behind it, by further bridges, and those with a node on
    one of them."""
    net = county.network
    served = systems.has_outlet
    reached, waiting = set(), [int(ends.system[up])]
    while waiting:
        now = waiting.pop()
        if now in reached or served[now]:
            continue
        reached.add(now)
        for u, d, _ in bridges:
            pair = {int(ends.system[u]), int(ends.system[d])}
            if (u, d) != (up, low) and now in pair:
                waiting += list(pair - {now, int(ends.system[low])})
    reach_m = max(net.tolerance_m, county.limits["exact_joint"])
    spans = [(u, d) for u, d, _ in bridges if (u, d) == (up, low) or int(ends.system[u]) in reached]
    for u, d in spans:
        line = shapely.LineString([ends.xy[u], ends.xy[d]])
        x0, y0, x1, y1 = shapely.bounds(shapely.buffer(line, reach_m))
        x, y = net.nodes.xy.T
        near = np.flatnonzero((x >= x0) & (x <= x1) & (y >= y0) & (y <= y1))
        near = near[shapely.dwithin(shapely.points(net.nodes.xy[near]), line, reach_m)]
        reached |= {int(c) for c in systems.of_node[near].tolist() if not served[c] and c != ends.system[low]}
    return sorted(reached)


def _size_words(county: County, diameter_m: np.ndarray) -> str:
    units = county.units
    known = np.isfinite(diameter_m)
    figures = [f"{d / units.diameter_m:,.0f} {units.diameter_name}" for d in diameter_m]
    shown = [figure if k else "unknown" for figure, k in zip(figures, known)]
    if not known.all():
        return f"sizes {shown[0]} above and {shown[1]} below"
    return f"same size, {shown[0]}" if diameter_m[0] == diameter_m[1] else f"sizes differ: {shown[0]} and {shown[1]}"


def _grade_words(county: County, ends: _Ends, up: int, low: int, length_m: float) -> tuple[str, bool | None]:
    """What the inverts say of the bridge, and whether they fit (None: nothing known)."""
    if not np.isfinite(ends.z_m[[up, low]]).all():
        return "not all inverts at the gap are known", None
    fall = float(ends.z_m[up] - ends.z_m[low])
    grade = 100 * fall / length_m
    against = float(p_reverse(fall, sigma_of_fall_m(ends.sigma_m[up], ends.sigma_m[low])))
    if against >= county.limits["p_reverse"]:
        return f"the inverts would rise {-grade:.3f} % across it", False
    beside = [100 * g for g in _grades_beside(county, ends, up, low) if np.isfinite(g)]
    shown = f"the inverts fall {grade:.3f} % across it"
    if not beside:
        return shown, True
    mean = sum(beside) / len(beside)
    return f"{shown}, {mean:.3f} % beside it", abs(grade - mean) <= _LIKE_GRADE * abs(mean) or None


def _grades_beside(county: County, ends: _Ends, up: int, low: int) -> tuple[float, float]:
    """Grade of the pipe above and of that below, downstream positive."""
    far, length = _far_level(county, ends), county.network.lines.length_m[ends.line]
    return (float((far[up] - ends.z_m[up]) / length[up]), float((ends.z_m[low] - far[low]) / length[low]))


def _crossed(
    county: County, systems: Systems, line: shapely.LineString, behind: list[int], pair: np.ndarray
) -> list[str]:
    """Names of drawn pipe that a bridge crosses and that would not drain into it."""
    net = county.network
    used, tree = net.line_index
    hit = used[tree.query(line, predicate="intersects")]
    inner = np.setdiff1d(hit, pair)
    inner = inner[~np.isin(systems.of_line[inner], behind)]
    return net.drains.name[net.lines.drain[inner]].tolist()[:3]
