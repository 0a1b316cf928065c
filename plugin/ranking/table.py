"""The pipes of a county in order: what each loses if it is plugged, how likely that is, and who is hit."""

from __future__ import annotations

import numpy as np

from ..county import County
from ..land.notices import Owners, water_of_owners
from ..land.owners import LandMap, split_by_land
from ..result_tables import PIPES, pipe_aliases, pipes_table, rounded
from ..tables import Land
from ..units import Units
from .hazards import Hazards, yearly_chance

RANKED_PIPES = {
    **PIPES, "area_lost": "real", "yearly_chance": "real", "expected_loss": "real", "rank": "integer",
    "other_way": "boolean", "why": "text", "owners": "text",
}
_NAMED = 3  # owners named by piece; the others are counted
_NOTHING = 1e-9  # share of all land that is rounding


def ranked_aliases(units: Units) -> dict[str, str]:
    """Column heads with units for the ranked PIPES."""
    area = units.area_name
    return {
        **pipe_aliases(units), "area_lost": f"Lost if plugged ({area})", "yearly_chance": "Chance to fail in a year",
        "expected_loss": f"Expected loss ({area} a year)", "rank": "Rank", "other_way": "Another way is open",
        "why": "What raises the chance", "owners": f"Whose land ({area})",
    }


def ranked_table(
    county: County, hazards: Hazards, given: np.ndarray | None = None, land: Land | None = None, by_chance: bool = False
) -> tuple[dict[str, np.ndarray], np.ndarray]:
    """Columns of RANKED_PIPES and shapes, the first to look at first; what is unknown has no rank and stands last.

    `given`: chance of each drain to fail in a year where somebody knows it. Ranked by the land lost, or with
    `by_chance` by the land lost times the chance.
    """
    pieces = np.arange(len(county.network.pieces))
    columns, shapes = pipes_table(county, pieces)
    lost_m2, chance = county.area_lost_m2, yearly_chance(county, hazards, given)
    expected_m2 = lost_m2 * chance
    area = county.units.area_m2
    rank = ranks(expected_m2 / area, 8) if by_chance else ranks(lost_m2 / area, 4)
    columns.update(
        area_lost=lost_m2 / area, yearly_chance=chance, expected_loss=expected_m2 / area, rank=rank,
        other_way=_other_way(county), why=reasons(county, hazards, given), owners=_owners(county, land),
    )
    place = np.array([number if number is not None else np.inf for number in rank])
    # where some rank the same, what is likelier to fail first, then the way they were drawn
    order = np.lexsort((pieces, -expected_m2, place))
    return rounded({name: column[order] for name, column in columns.items()}), shapes[order]


def ranks(figure: np.ndarray, digits: int) -> np.ndarray:
    """1 for the largest; those that read the same to so many digits share a rank, and the next is counted on.

    None where the figure is unknown.
    """
    out = np.full(len(figure), None, dtype=object)
    known = np.flatnonzero(np.isfinite(figure))
    shown = np.round(figure[known], digits)
    ordered = np.sort(shown)
    out[known] = (len(shown) - np.searchsorted(ordered, shown, side="right") + 1).astype(object)
    return out


def _other_way(county: County) -> np.ndarray:
    """Whether some of the water that comes through a piece would find another way; None where the flow is unknown."""
    through, lost = county.area_above_m2, county.area_lost_m2
    open_ = through - lost > _NOTHING * np.nansum(county.piece_area_m2)
    return np.where(np.isnan(lost) | np.isnan(through), None, open_)


def reasons(county: County, hazards: Hazards, given: np.ndarray | None = None) -> np.ndarray:
    """What raises the chance of every piece, in words; empty where nothing does."""
    show, limits = county.units.show_length, county.limits
    near, far = (show(limits[name], 0) for name in ("tree_distance_ordinary", "tree_distance_high"))
    said: list[list[str]] = [[] for _ in range(len(hazards.material))]

    def add(which: np.ndarray, words) -> None:
        for row in np.flatnonzero(which).tolist():
            said[row].append(words(row))

    add(hazards.near_trees_m > 0.0, lambda row: f"{show(hazards.near_trees_m[row], 0)} within {near} of trees")
    add(hazards.far_trees_m > 0.0, lambda row: f"{show(hazards.far_trees_m[row], 0)} within {far} of thirsty trees")
    for material in ("clay", "concrete"):
        add(hazards.material == material, lambda row, word=material: word)
    add(hazards.reverse, lambda row: "rises downstream")
    add(hazards.always_wet, lambda row: "always wet")
    add(hazards.age_years >= 1.0, lambda row: f"{hazards.age_years[row]:.0f} years old")
    out = np.array(["; ".join(words) for words in said] or [""], dtype=object)[: len(said)]
    if given is not None:
        out[np.isfinite(given[county.network.piece_drain])] = "chance as given"
    return out


def _owners(county: County, land: Land | None) -> np.ndarray:
    """Whose land is lost with every piece, most first, in words."""
    net = county.network
    out = np.full(len(net.pieces), None, dtype=object)
    if land is None or not len(land):
        return out
    owners = Owners.of(land)
    split = split_by_land(county.served, net.pieces.line, net.pieces.from_m, net.pieces.to_m, LandMap.of(land))
    least = _NOTHING * split.area_m2.sum()

    def lost(own: np.ndarray) -> np.ndarray:
        total = county.losses.lost(own)
        return np.where(total > least, total, 0.0)

    water = water_of_owners(split.stretch, owners.of_rows(split.land), split.area_m2, net.piece_system, lost)
    order = np.lexsort((-water.area_m2, water.piece))
    piece, owner, area = water.piece[order], water.owner[order], water.area_m2[order] / county.units.area_m2
    names = [*owners.name.tolist(), "nobody's"]
    words = [f"{names[o]} {a:,.1f}" for o, a in zip(owner.tolist(), area.tolist())]
    first = np.flatnonzero(np.diff(piece, prepend=-1))
    for begin, end in zip(first.tolist(), [*first[1:].tolist(), len(piece)]):
        more = end - begin - _NAMED
        named = "; ".join(words[begin:min(end, begin + _NAMED)])
        out[piece[begin]] = f"{named}; {more} more" if more > 0 else named
    return out
