"""The tables of owners in the units people read: one row an owner, shares at outlets, ways of water, whom to tell."""

from __future__ import annotations

import numpy as np

from ..land.notices import NOTHING
from ..land.owners import NOBODY
from ..result_tables import rounded
from ..tables import Land
from ..units import Units
from .notice import Notice
from .sums import OwnerSums

OWNERS = {
    "owner": "text", "contact": "text", "fields": "integer", "land_area": "real", "area": "real", "share": "real",
    "length": "real", "others_area": "real", "without_outlet": "real", "outlets": "text", "through": "text",
}
NOTICES = {
    "order": "integer", "owner": "text", "contact": "text", "area": "real", "share": "real", "length": "real",
    "length_below": "real", "why": "text",
}
SHARES = {"outlet": "text", "owner": "text", "area": "real", "share": "real", "outlet_area": "real"}
CROSSINGS = {"owner": "text", "through": "text", "length": "real"}
NOBODYS = "no field drawn"
NO_OUTLET = "no outlet on the map"


def owner_aliases(units: Units) -> dict[str, str]:
    area, length = units.area_name, units.length_name
    return {
        "owner": "Owner", "contact": "Contact", "fields": "Pieces of land", "land_area": f"Land ({area})",
        "area": f"Land drained ({area})", "share": "Share of all land drained",
        "length": f"Pipe under this land ({length})", "others_area": f"Most land of others through it ({area})",
        "without_outlet": f"Drained to no outlet ({area})", "outlets": f"Outlets ({area})",
        "through": f"Water runs under the land of ({length})",
    }


def notice_aliases(units: Units) -> dict[str, str]:
    area, length = units.area_name, units.length_name
    return {
        "order": "Order", "owner": "Owner", "contact": "Contact", "area": f"Land that drains through it ({area})",
        "share": "Share", "length": f"Pipe above it under this land ({length})",
        "length_below": f"Pipe below it under this land ({length})", "why": "Why",
    }


def share_aliases(units: Units) -> dict[str, str]:
    area = units.area_name
    return {"outlet": "Outlet", "owner": "Owner", "area": f"Land ({area})", "share": "Share at this outlet",
            "outlet_area": f"All land at this outlet ({area})"}


def crossing_aliases(units: Units) -> dict[str, str]:
    return {"owner": "Water of", "through": "Runs under the land of", "length": f"Pipe ({units.length_name})"}


def names_of(sums: OwnerSums, owner: np.ndarray) -> np.ndarray:
    """Names of owners; land whose owner is not known stands for itself."""
    known = np.append(sums.owners.known, True)
    names = np.append(sums.owners.name, NOBODYS)
    return np.array([names[o] if known[o] else f"owner of {names[o]} not known" for o in owner.tolist()], dtype=object)


def contacts_of(sums: OwnerSums, owner: np.ndarray) -> np.ndarray:
    """What the land layer says of how to reach each owner; several entries one after another."""
    land: Land = sums.land
    said: list[dict[str, None]] = [{} for _ in range(len(sums.owners.name) + 1)]
    for row in np.flatnonzero(~np.equal(land.contact, None)).tolist():
        said[sums.owners.of_land[row]][land.contact[row]] = None
    return np.array(["; ".join(said[o]) or None for o in owner.tolist()], dtype=object)


def owners_table(sums: OwnerSums) -> dict[str, np.ndarray]:
    """Columns of OWNERS, most land drained first; land in no field stands last."""
    units = sums.county.units
    owner = np.arange(len(sums.owners.name))
    owner = owner[np.argsort(-sums.drained_m2[owner], kind="stable")]
    if sums.drained_m2[NOBODY] > NOTHING * sums.drained_m2.sum():
        owner = np.append(owner, NOBODY)
    total = sums.drained_m2.sum()
    fields = np.append(sums.field_count, 0)[owner]
    return rounded({
        "owner": names_of(sums, owner),
        "contact": contacts_of(sums, owner),
        "fields": fields,
        "land_area": np.where(owner == NOBODY, np.nan, sums.land_m2[owner] / units.area_m2),
        "area": sums.drained_m2[owner] / units.area_m2,
        "share": sums.drained_m2[owner] / total if total > 0 else np.zeros(len(owner)),
        "length": sums.pipe_m[owner] / units.length_m,
        "others_area": np.where(owner == NOBODY, np.nan, sums.most_of_others_m2[owner] / units.area_m2),
        "without_outlet": sums.without_outlet_m2[owner] / units.area_m2,
        "outlets": _listed(owner, *_outlet_parts(sums)),
        "through": _listed(owner, *_crossing_parts(sums)),
    })


def _outlet_parts(sums: OwnerSums) -> tuple[np.ndarray, list[str]]:
    water = sums.at_outlets
    order = np.argsort(-water.area_m2, kind="stable")
    area = water.area_m2[order] / sums.county.units.area_m2
    words = [f"{name} {a:,.1f}" for name, a in zip(outlet_names(sums)[water.piece[order]], area)]
    return water.owner[order], words


def _crossing_parts(sums: OwnerSums) -> tuple[np.ndarray, list[str]]:
    ways = sums.ways.crossings
    length = ways.length_m / sums.county.units.length_m
    return ways.owner, [f"{name} {feet:,.0f}" for name, feet in zip(names_of(sums, ways.through), length)]


def _listed(owner: np.ndarray, of: np.ndarray, words: list[str]) -> np.ndarray:
    """Words of each owner in their order, as one text."""
    said: dict[int, list[str]] = {}
    for one, word in zip(of.tolist(), words):
        said.setdefault(one, []).append(word)
    return np.array(["; ".join(said[o]) if o in said else None for o in owner.tolist()], dtype=object)


def outlet_names(sums: OwnerSums) -> np.ndarray:
    """What people call each outlet; a free end taken for one says so and where its system begins."""
    net = sums.county.network
    marked = net.outlets.structure >= 0
    names = np.where(marked, net.structures.name[net.outlets.structure] if len(net.structures) else None, None)
    for row in np.flatnonzero(~marked).tolist():
        piece = np.flatnonzero(net.node_down == net.outlets.node[row])
        pipe = net.drains.name[net.piece_drain[piece[0]]] if len(piece) else "a pipe"
        names[row] = f"free end of {pipe}" + (", assumed" if net.outlets.assumed[row] else "")
    return names


def shares_table(sums: OwnerSums) -> dict[str, np.ndarray]:
    """Columns of SHARES: outlets with most land first, in each the owners with most land first."""
    water, units = sums.at_outlets, sums.county.units
    total = np.bincount(water.piece, water.area_m2, minlength=len(sums.county.network.outlets))
    order = np.lexsort((-water.area_m2, water.piece, -total[water.piece]))
    outlet, owner, area = water.piece[order], water.owner[order], water.area_m2[order]
    lacking = np.flatnonzero(sums.without_outlet_m2 > NOTHING * max(float(sums.drained_m2.sum()), 1.0))
    lacking = lacking[np.argsort(-sums.without_outlet_m2[lacking])]
    lost = sums.without_outlet_m2[lacking]
    owner = np.concatenate([owner, np.where(lacking == len(sums.owners.name), NOBODY, lacking)])
    whole = np.concatenate([total[outlet], np.full(len(lost), lost.sum())])
    area = np.concatenate([area, lost])
    names = np.append(outlet_names(sums), NO_OUTLET)[np.concatenate([outlet, np.full(len(lost), -1)])]
    return rounded({
        "outlet": names, "owner": names_of(sums, owner), "area": area / units.area_m2,
        "share": area / whole, "outlet_area": whole / units.area_m2,
    })


def crossings_table(sums: OwnerSums) -> dict[str, np.ndarray]:
    """Columns of CROSSINGS, by owner, longest first."""
    ways = sums.ways.crossings
    return rounded({
        "owner": names_of(sums, ways.owner), "through": names_of(sums, ways.through),
        "length": ways.length_m / sums.county.units.length_m,
    })


def notices_table(sums: OwnerSums, notice: Notice) -> dict[str, np.ndarray]:
    """Columns of NOTICES, in the order to tell them."""
    units = sums.county.units
    total = notice.area_m2.sum() + notice.nobody_m2
    return rounded({
        "order": np.arange(1, len(notice.owner) + 1),
        "owner": names_of(sums, notice.owner),
        "contact": contacts_of(sums, notice.owner),
        "area": notice.area_m2 / units.area_m2,
        "share": notice.area_m2 / total if total > 0 else np.zeros(len(notice.owner)),
        "length": notice.above_m / units.length_m,
        "length_below": notice.below_m / units.length_m,
        "why": np.array(notice.why, dtype=object),
    })
