"""What hangs on a place of a pipe, and which way its water takes: first the pipes, then all that can be said.

The two are apart because the pipes are wanted within a blink and the land of a large system takes longer.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import shapely

from ..county import County
from ..land.notices import Owners, OwnerShares, owner_shares
from ..land.owners import NOBODY, LandMap, LandShares, land_crossed, split_by_land
from ..network.trace import (
    Downstream,
    PlaceOnPipe,
    Upstream,
    outlet_key,
    trace_downstream,
    trace_upstream,
    why_no_direction,
)
from ..owners.notice import notice_of
from ..report.markup import plural
from ..tables import Land
from ..trace_sums import Above, said_above, sum_above
from .answer import Answer, Section
from .pipe import name_of, said_invert, said_pipe, said_place

_MOST_NAMES = 40  # laterals named one by one
_MOST_UNSAVED = 8


@dataclass(frozen=True)
class Traced:
    """A place with all that drains through it, and its way down."""

    place: PlaceOnPipe
    above: Upstream
    below: Downstream


def trace_from(county: County, place: PlaceOnPipe) -> Traced:
    """Trace both ways from a place on a pipe."""
    return Traced(
        place, trace_upstream(county.network, place, county.down), trace_downstream(county.network, place)
    )


def shapes_above(county: County, traced: Traced) -> np.ndarray:
    """Lines of all pipe above the place, each drawn the way the water runs."""
    return _shapes(county, *traced.above.stretches(county.network.pieces))


def shapes_below(county: County, traced: Traced) -> np.ndarray:
    """Lines of the way down, in order."""
    return _shapes(county, *traced.below.stretches(county.network.pieces))


def _shapes(county: County, rows: np.ndarray, from_m: np.ndarray, to_m: np.ndarray) -> np.ndarray:
    net = county.network
    some = to_m - from_m > 1e-6
    rows = rows[some]
    return net.lines.cut(net.pieces.line[rows], from_m[some], to_m[some], backward=net.direction[rows] < 0)


def middle_segments(shapes: np.ndarray) -> np.ndarray:
    """Where arrows of flow belong: the segment in the middle of each line as a row x0, y0, x1, y1; metres."""
    xy, of = shapely.get_coordinates(np.asarray(shapes, dtype=object), return_index=True)
    count = np.bincount(of, minlength=len(shapes))
    middle = np.cumsum(count) - count + (count - 1) // 2
    return np.column_stack([xy[middle], xy[middle + 1]]) if len(shapes) else np.zeros((0, 4))


def explain(
    county: County, traced: Traced, land: Land | None, land_map: LandMap | None = None,
    unsaved: np.ndarray | None = None, hit_m: float = math.inf,
) -> Answer:
    """All that can be said of a trace. `land_map`: that of `land`, where it is kept; None without land.

    `unsaved`: the drains (a mask) with edits that are not saved. `hit_m`: from how far a pipe counts as hit; where it
    was farther from the place that was asked for, that is said.
    """
    above = sum_above(county, traced.above)
    if land is not None and land_map is None:
        land_map = LandMap.of(land)
    shares = None if land_map is None else split_by_land(county.served, above.line, above.from_m, above.to_m, land_map)
    why = why_no_direction(county.network, traced.place.piece)
    sections = [_pipe(county, traced), _above(county, traced, above)]
    if land is not None:
        sections += _land_above(county, above, shares, land)
    sections.append(_below(county, traced.below, land, land_map))
    if land is not None:
        sections.append(_to_tell(county, traced, above, shares, land, land_map))
    title = said_place(county, traced.place, traced.below.length_m)
    return Answer(title, tuple(sections), tuple(filter(None, (
        why, _said_unsaved(county, traced, unsaved), _said_beside(county, traced, hit_m),
    ))))


def _said_beside(county: County, traced: Traced, hit_m: float) -> str:
    away_m = traced.place.distance_m
    return f"This is the nearest pipe, {county.units.show_length(away_m)} away." if away_m > hit_m else ""


def _said_unsaved(county: County, traced: Traced, unsaved: np.ndarray | None) -> str:
    """Which pipes of the answer are not saved as they are."""
    if unsaved is None:
        return ""
    pieces = np.concatenate([traced.above.pieces, [traced.above.clicked], traced.below.pieces])
    drains = np.unique(county.network.piece_drain[pieces])
    drains = drains[unsaved[drains]]
    names = [name_of(county, int(drain)) for drain in drains[:_MOST_UNSAVED]]
    more = f" and {len(drains) - len(names):,} more" if len(drains) > len(names) else ""
    return f"Counted as drawn, but not saved yet: {', '.join(names)}{more}." if names else ""


def _pipe(county: County, traced: Traced) -> Section:
    drain = int(county.network.piece_drain[traced.place.piece])
    return Section("This pipe", (said_pipe(county, drain) + ".", said_invert(county, traced.place)))


def _above(county: County, traced: Traced, above: Above) -> Section:
    net = county.network
    drains = np.unique(net.piece_drain[traced.above.pieces])
    laterals = drains[(net.drains.role[drains] == "lateral") & (drains != net.piece_drain[traced.above.clicked])]
    names = [name_of(county, int(drain)) for drain in laterals[:_MOST_NAMES]]
    more = len(laterals) - len(names)
    said = [said_above(above, county.units)]
    if names:
        said.append(f"Laterals: {', '.join(names)}{f' and {more:,} more' if more else ''}.")
    if above.inflow_m3_s > 0.0:
        said.append(f"Constant inflows: {', '.join(_inflows(county, above))}.")
    return Section("What drains through here", tuple(said))


def _inflows(county: County, above: Above) -> list[str]:
    """Names and flows of the constant inflows on the stretches above."""
    net, inflows, units = county.network, county.inflows, county.units
    on = [
        bool(((above.line == line) & (above.from_m - 1e-6 <= at_m) & (above.to_m + 1e-6 >= at_m)).any())
        for line, at_m in zip(inflows.line.tolist(), inflows.at_m.tolist())
    ]
    return [
        f"{net.structures.name[row]} {flow / units.flow_m3_s:,.1f} {units.flow_name}"
        for row, flow in zip(inflows.structure[on].tolist(), inflows.flow_m3_s[on].tolist())
    ]


def _land_above(county: County, above: Above, shares: LandShares, land: Land) -> list[Section]:
    """By owner, and by field."""
    area_m2 = shares.area_m2 * above.weight[shares.stretch]
    by_land, owners = owner_shares(shares.land, area_m2), Owners.of(land)
    by_owner = owner_shares(owners.of_rows(shares.land), area_m2)
    if not len(by_land.owner):
        return [Section("Land above", ("No land drains through here.",))]
    rows = [(_owner_name(owners, k), *f) for k, f in zip(by_owner.owner.tolist(), _figures(county, by_owner))]
    fields = [(*_names(land, row), *f) for row, f in zip(by_land.owner.tolist(), _figures(county, by_land))]
    area = county.units.area_name
    return [
        Section("Land above, by owner", (), ("Owner", area, "Share"), tuple(rows)),
        Section("Land above, by field", (), ("Field", "Owner", area, "Share"), tuple(fields)),
    ]


def _figures(county: County, shares: OwnerShares) -> list[tuple[str, str]]:
    """Area and share, in the order of the shares."""
    return [
        (f"{area_m2 / county.units.area_m2:,.2f}", f"{100 * share:.1f} %")
        for area_m2, share in zip(shares.area_m2.tolist(), shares.share.tolist())
    ]


def _owner_name(owners: Owners, owner: int) -> str:
    if owner == NOBODY:
        return "no field drawn"
    return str(owners.name[owner]) if owners.known[owner] else f"owner unknown ({owners.name[owner]})"


def _names(land: Land, row: int) -> tuple[str, str]:
    """Name and owner of a row of land."""
    return ("no field drawn", "") if row == NOBODY else (land.name[row], land.owner[row] or "owner unknown")


def _below(county: County, way: Downstream, land: Land | None, land_map: LandMap | None) -> Section:
    net, units = county.network, county.units
    outlet = outlet_key(net, way.outlet)
    if outlet is None:
        return Section("Where the water goes", ("No outlet can be reached from here.",))
    said = f"{units.show_length(way.length_m)} to the outlet {outlet}, {plural(len(way.pieces), 'piece')} of pipe."
    if land is None or land_map is None:
        return Section("Where the water goes", (said,))
    pieces, from_m, to_m = way.stretches(net.pieces)
    return Section("Where the water goes", (said,),
                   *land_table(county, net.pieces.line[pieces], from_m, to_m, land, land_map))


def land_table(
    county: County, line: np.ndarray, from_m: np.ndarray, to_m: np.ndarray, land: Land, land_map: LandMap
) -> tuple[tuple[str, ...], tuple[tuple[str, ...], ...]]:
    """Head and rows of whose land stretches of pipe lie under."""
    crossed = land_crossed(county.network.lines, line, from_m, to_m, land_map,
                           tolerance_m=county.limits["exact_joint"])
    by_land = owner_shares(crossed.land, crossed.length_m)
    rows = tuple(
        (*_names(land, row), f"{length_m / county.units.length_m:,.1f}")
        for row, length_m in zip(by_land.owner.tolist(), by_land.area_m2.tolist())
    )
    return ("Under the land", "Owner", county.units.length_name), rows


def _to_tell(
    county: County, traced: Traced, above: Above, shares: LandShares, land: Land, land_map: LandMap
) -> Section:
    owners = Owners.of(land)
    notice = notice_of(county, traced.place, above, shares, owners, land_map)
    names = [str(owners.name[owner]) for owner in notice.owner.tolist()]
    first = ", ".join(names[: notice.first]) or "Nobody: no owner is known above or here"
    said = [f"{first}."]
    if names[notice.first:]:
        said.append(f"Water may come up on the land of {', '.join(names[notice.first:])} too: pipe above runs there.")
    return Section("If it is plugged here, tell", tuple(said))
