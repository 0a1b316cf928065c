"""The sample county as a case for checks, with its ground and surroundings."""

from __future__ import annotations

from functools import cache

import numpy as np
import pandas as pd
from fallkeeper.plugin.checks.case import Case
from fallkeeper.plugin.county import County
from fallkeeper.plugin.elevation.ground import sample_lines
from fallkeeper.plugin.limits import Limits
from fallkeeper.plugin.network.build import build_network
from fallkeeper.plugin.tables import Drains, Land, Structures, Trees
from fallkeeper.plugin.units import US_SURVEY_FOOT_M
from fallkeeper.sample_project.rows import ground_ft
from scenario import UNITS, scenario_frames


@cache
def case(bridged: bool, with_ground: bool = True) -> Case:
    """The sample with all its layers; `bridged` adds the 80 ft of main B that the sample leaves out."""
    frames, limits = scenario_frames(bridged=bridged), Limits(foot_m=US_SURVEY_FOOT_M)
    network = build_network(
        Drains.from_frame(frames["drains"]), Structures.from_frame(frames["structures"]), limits=limits,
        tolerance_m=US_SURVEY_FOOT_M,
    )
    profile = sample_lines(network.lines, ground_m, 5.0, network.active) if with_ground else None
    trees = pd.concat([frames[name] for name in ("trees", "tree_rows", "woods") if name in frames])
    county = County(network, limits, UNITS, profile)
    return Case(county, Trees.from_frame(trees), Land.from_frame(frames["land"]))


def ground_m(x_m, y_m):
    return np.vectorize(ground_ft)(x_m / US_SURVEY_FOOT_M, y_m / US_SURVEY_FOOT_M) * US_SURVEY_FOOT_M
