"""How likely a piece of pipe is to fail in a year: its length, made longer by what is hard on pipe.

Chance = 1 - exp(-rate x length x weights); all weights are limits an office can change. Where something is not known,
the pipe is not taken for sound: unknown openings let roots in, an unknown age is that of a middle-aged pipe.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..county import County
from ..elevation.grade import REVERSE
from ..elevation.ranges import Ranges
from ..network.near_trees import tree_zones
from ..network.ranges import overlaps
from ..tables import Trees


@dataclass(frozen=True)
class Hazards:
    """By piece: length within reach of roots (near; farther off but still counted), and what weighs on all of it.

    `age_years` is NaN where it is not known; `trees_asked`: whether trees were given at all.
    """

    near_trees_m: np.ndarray
    far_trees_m: np.ndarray
    material: np.ndarray
    reverse: np.ndarray
    always_wet: np.ndarray
    age_years: np.ndarray
    trees_asked: bool


def find_hazards(county: County, trees: Trees | None = None, age_years: np.ndarray | None = None) -> Hazards:
    """What is hard on every piece; `age_years` goes by drain."""
    net = county.network
    near, far = _near_trees(county, trees)
    unknown = np.full(len(net.drains), np.nan)
    return Hazards(
        near_trees_m=near,
        far_trees_m=far,
        material=net.drains.material[net.piece_drain],
        reverse=county.piece_grades.call == REVERSE,
        always_wet=county.down.sum_down(_inflow_of_pieces(county)) > 0.0,
        age_years=(unknown if age_years is None else age_years)[net.piece_drain],
        trees_asked=trees is not None,
    )


def yearly_chance(county: County, hazards: Hazards, given: np.ndarray | None = None) -> np.ndarray:
    """Chance of every piece to fail within a year.

    `given`: chance of each whole drain (NaN: not given) that somebody knows better; its pieces share it by length.
    """
    length_m, limits = county.network.pieces.length_m, county.limits
    roots_m = (limits["hazard_trees_near"] - 1.0) * hazards.near_trees_m
    roots_m = roots_m + (limits["hazard_trees_far"] - 1.0) * hazards.far_trees_m
    expected = limits["failure_rate"] * (length_m + roots_m) * weights(county, hazards)
    if given is not None:
        of_drain = given[county.network.piece_drain]
        whole_m = np.bincount(county.network.piece_drain, length_m, minlength=len(given))
        share = length_m / whole_m[county.network.piece_drain]
        with np.errstate(divide="ignore"):
            known = -np.log1p(-np.clip(of_drain, 0.0, 1.0)) * share
        expected = np.where(np.isnan(of_drain), expected, known)
    return -np.expm1(-expected)


def weights(county: County, hazards: Hazards) -> np.ndarray:
    """Product of the weights that hold for the whole of each piece."""
    limits = county.limits
    age = np.where(np.isnan(hazards.age_years), limits["age_if_unknown"], np.maximum(hazards.age_years, 0.0))
    made_of = np.select(
        [hazards.material == "clay", hazards.material == "concrete"],
        [limits["hazard_clay"], limits["hazard_concrete"]], 1.0,
    )
    reverse = np.where(hazards.reverse, limits["hazard_reverse"], 1.0)
    wet = np.where(hazards.always_wet, limits["hazard_always_wet"], 1.0)
    return made_of * reverse * wet * (1.0 + limits["hazard_year"] * age)


def _near_trees(county: County, trees: Trees | None) -> tuple[np.ndarray, np.ndarray]:
    """Length of every piece near trees, and farther off within the distance of thirsty ones; tight pipe has none."""
    net = county.network
    if trees is None or not len(trees):
        return np.zeros(len(net.pieces)), np.zeros(len(net.pieces))
    used = np.unique(net.pieces.line)
    used = used[net.drains.openings[net.lines.drain[used]] != "none"]
    near, every = (_length_on(county, zone) for zone in tree_zones(net.lines, used, trees, county.limits))
    return near, np.maximum(every - near, 0.0)


def _length_on(county: County, zone: Ranges) -> np.ndarray:
    pieces = county.network.pieces
    row, _, low, high = overlaps(
        county.network.lines, pieces.line, pieces.from_m, pieces.to_m, zone.line, zone.from_m, zone.to_m
    )
    return np.bincount(row, np.maximum(high - low, 0.0), minlength=len(pieces))


def _inflow_of_pieces(county: County) -> np.ndarray:
    """Constant inflow into every piece itself; one at a joint goes into the piece of its own line."""
    pieces, inflows = county.network.pieces, county.inflows
    own = np.zeros(len(pieces))
    for line, at, flow in zip(inflows.line, inflows.at_m, inflows.flow_m3_s):
        on = np.flatnonzero((pieces.line == line) & (pieces.from_m - 1e-6 <= at) & (pieces.to_m + 1e-6 >= at))
        own[on[:1]] += flow
    return own
