"""What one owner gets to read: his own land, the pipe under it, and of all others totals only."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from ..land.notices import NOTHING
from ..land.owners import split_by_land
from ..network.trace import PlaceOnPipe, trace_upstream
from ..report.cautions import CAUTIONS
from ..report.content import Caution, Table
from ..report.markup import NONE, plural
from ..trace_sums import sum_above
from .notice import land_at
from .page_map import MapParts, owner_maps
from .private import Private
from .sums import OwnerSums
from .tables import outlet_names

_NAMELESS = {"lateral": "lateral", "submain": "submain", "main": "main", "outlet_pipe": "outlet pipe"}


@dataclass(frozen=True)
class OwnerPage:
    """One owner's page, finished; `maps` are drawings in SVG with what each shows."""

    title: str
    about: str
    sentences: tuple[str, ...]
    figures: tuple[tuple[str, str], ...]
    maps: tuple[tuple[str, str], ...]
    fields: Table
    pipes: Table
    cautions: tuple[Caution, ...]


def owner_page(
    sums: OwnerSums, owner: int, archive: str, made_on: str, place: PlaceOnPipe | None = None
) -> OwnerPage:
    """The page of an owner (a number of sums.owners); `place`: a plugged place of which to say how much is above."""
    private = Private(sums.land, sums.owners, owner)
    name = str(sums.owners.name[owner]) if sums.owners.known[owner] else "owner not known"
    under = _under(sums, owner)
    parts = MapParts(
        polygon=sums.land.geometry[sums.owners.of_land == owner],
        field=[private.safe(text, "") for text in sums.land.name[sums.owners.of_land == owner].tolist()],
        pipe=under.shape, pipe_name=under.name, is_main=under.role != "lateral",
        place=_place_on_own_land(sums, owner, place),
    )
    about = f"{private.safe(archive, 'archive of drains')}, {made_on}"
    return OwnerPage(
        title=f"Drains under the land of {name}", about=about, sentences=_sentences(sums, owner, place),
        figures=_figures(sums, owner, private), maps=owner_maps(parts, sums.county.units),
        fields=_fields(sums, owner), pipes=_pipes(sums, under), cautions=CAUTIONS,
    )


@dataclass(frozen=True)
class _Under:
    """Pipe under one owner's land, a row a drain: what may be said of it, and its shape there."""

    drain: np.ndarray
    name: list[str]
    role: np.ndarray
    length_m: np.ndarray
    shape: np.ndarray


def _under(sums: OwnerSums, owner: int) -> _Under:
    """Parts of drains under his land, mains first, then as they were drawn."""
    net, ways = sums.county.network, sums.ways
    rows = np.flatnonzero(ways.under_owner == owner)
    piece = ways.under_piece[rows]
    drain = net.piece_drain[piece]
    shapes = net.lines.cut(net.pieces.line[piece], ways.under_from_m[rows], ways.under_to_m[rows])
    every, back = np.unique(drain, return_inverse=True)
    length_m = np.bincount(back, ways.under_length_m[rows], minlength=len(every))
    whole = np.array([shapely.line_merge(shapely.multilinestrings(shapes[back == k])) for k in range(len(every))] or
                     [], dtype=object)
    role = net.drains.role[every]
    order = np.lexsort((every, role == "lateral"))
    private = Private(sums.land, sums.owners, owner)
    names = [private.safe(text, "") for text in net.drains.name[every[order]].tolist()]
    return _Under(every[order], names, role[order], length_m[order], whole[order])


def _place_on_own_land(sums: OwnerSums, owner: int, place: PlaceOnPipe | None) -> shapely.Point | None:
    """The place asked about where it lies on his land; elsewhere it would show a neighbour's pipe."""
    if place is None or owner not in sums.owners.of_rows(land_at(sums.county, place, sums.map)):
        return None
    net = sums.county.network
    return shapely.Point(net.lines.points_at(net.pieces.line[[place.piece]], np.array([place.at_m]))[0])


def _sentences(sums: OwnerSums, owner: int, place: PlaceOnPipe | None) -> tuple[str, ...]:
    """What is above the place asked about, his own share and that of all others together."""
    if place is None:
        return ()
    county, units = sums.county, sums.county.units
    found = trace_upstream(county.network, place, county.down)
    above = sum_above(county, found)
    split = split_by_land(county.served, above.line, above.from_m, above.to_m, sums.map)
    mine = sums.owners.of_rows(split.land) == owner
    own_m2 = float((split.area_m2 * above.weight[split.stretch])[mine].sum())
    total, own = above.area_m2 / units.area_m2, own_m2 / units.area_m2
    area = units.area_name
    said = f"{total:,.1f} {area} drain through the place asked about"
    if own <= 0.0:
        return (f"{said}, none of them yours.",)
    return (f"{said}: {own:,.1f} of them yours, {max(total - own, 0.0):,.1f} of them not yours.",)


def _figures(sums: OwnerSums, owner: int, private: Private) -> tuple[tuple[str, str], ...]:
    county, units = sums.county, sums.county.units
    area, length = units.area_m2, units.length_m
    said = [
        ("Your land", f"{sums.land_m2[owner] / area:,.1f} {units.area_name} in "
                      f"{plural(int(sums.field_count[owner]), 'piece')}"),
        ("Pipe under it", f"{sums.pipe_m[owner] / length:,.0f} {units.length_name}"),
        ("Your land that drains through pipe", f"{sums.drained_m2[owner] / area:,.1f} {units.area_name}"),
    ]
    water = sums.at_outlets
    total = np.bincount(water.piece, water.area_m2, minlength=len(county.network.outlets))
    names = outlet_names(sums)
    for row in np.flatnonzero(water.owner == owner).tolist():
        outlet = int(water.piece[row])
        label = private.safe(names[outlet], "an outlet on land of others")
        said.append((
            f"Of it to {label}",
            f"{water.area_m2[row] / area:,.1f} of {total[outlet] / area:,.1f} {units.area_name} that drain there "
            f"({water.area_m2[row] / total[outlet]:.1%})",
        ))
    lost = sums.without_outlet_m2[owner]
    if lost > NOTHING * max(float(sums.drained_m2.sum()), 1.0):
        said.append(("Of it to no outlet on the map", f"{lost / area:,.1f} {units.area_name}"))
    said += [
        ("Land of others that drains through pipe under yours, at most at one place",
         f"{sums.most_of_others_m2[owner] / area:,.1f} {units.area_name}"),
        ("Pipe not under your land that your water runs through",
         f"{_elsewhere_m(sums, owner) / length:,.0f} {units.length_name}"),
    ]
    return tuple(said)


def _elsewhere_m(sums: OwnerSums, owner: int) -> float:
    """Length of pieces that carry his water, less what of them lies under his own land."""
    ways = sums.ways
    carries = np.unique(ways.water.piece[ways.water.owner == owner])
    mine = (ways.under_owner == owner) & np.isin(ways.under_piece, carries)
    return max(float(sums.county.network.pieces.length_m[carries].sum() - ways.under_length_m[mine].sum()), 0.0)


def _fields(sums: OwnerSums, owner: int) -> Table:
    land, units = sums.land, sums.county.units
    rows = np.flatnonzero(sums.owners.of_land == owner)
    size = shapely.area(sums.map.polygon[rows]) / units.area_m2
    return Table(
        ("Land", "Use", "Parcel", units.area_name.capitalize()),
        tuple(
            (str(land.name[row]), str(land.use[row] or NONE), str(land.parcel_no[row] or NONE), f"{acres:,.2f}")
            for row, acres in zip(rows.tolist(), size.tolist())
        ),
        "No land of this owner is drawn.",
    )


def _pipes(sums: OwnerSums, under: _Under) -> Table:
    """A row for each main, and one for all laterals of a size and material. A name that tells of a neighbour is left
    out."""
    drains, units = sums.county.network.drains, sums.county.units
    rows: dict[tuple[str, ...], list[float]] = {}
    for name, role, drain, metres in zip(
        under.name, under.role.tolist(), under.drain.tolist(), under.length_m.tolist()
    ):
        inside = drains.diameter_m[drain] / units.diameter_m
        size = f"{inside:,.0f} {units.diameter_name}" if np.isfinite(inside) else "not known"
        kind = _NAMELESS.get(role, "not known")
        shown = "" if role == "lateral" else name or NONE
        rows.setdefault((shown, kind, size, _plain(drains.material[drain])), []).append(metres / units.length_m)
    cells = tuple(
        (shown or plural(len(feet), "lateral"), kind, size, material, f"{sum(feet):,.0f}")
        for (shown, kind, size, material), feet in rows.items()
    )
    return Table(("Pipe", "Kind", "Size", "Material", f"{units.length_name} under your land"), cells,
                 "No pipe is drawn under this land.")


def _plain(word: object) -> str:
    return "not known" if word is None else str(word).replace("_", " ")
