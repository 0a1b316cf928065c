"""Grades of dense machine logs: a good drain must not be called reverse because it was measured often."""

import builders as b
import numpy as np
import pytest
import shapely
from fallkeeper.plugin.county import County
from fallkeeper.plugin.limits import Limits
from fallkeeper.plugin.network.build import build_network
from fallkeeper.plugin.units import Units

ERROR_M = 0.03  # limit error_machine_log


def calls_of(heights_ft, located_by="machine_log"):
    """Calls of a main of 660 ft toward its outlet with evenly spaced drawn elevations, first at the outlet."""
    y = np.linspace(0.0, 660.0, len(heights_ft))
    line = shapely.LineString(np.column_stack([np.zeros(len(y)), y, heights_ft]))
    row = {"drain_id": "M", "geometry": line, "role": "main", "located_by": located_by}
    network = build_network(b.drains(row), b.structures(b.outlet(0, 0)))
    return County(network, Limits(), Units()).grades.call


@pytest.mark.parametrize("seed", range(20))
def test_good_drain_with_41_logged_heights_is_not_called_reverse(seed):
    noise = np.random.default_rng(seed).normal(0.0, ERROR_M / b.FT, 41)
    heights = 700.0 + np.linspace(0.0, 0.66, 41) + noise  # 0.1 %
    assert (calls_of(heights) != "reverse").mean() == pytest.approx(1.0, abs=0.03)


def test_reverse_stretch_in_a_log_is_still_found():
    heights = 700.0 + np.linspace(0.0, 0.66, 41)
    heights[20:] -= 0.8  # the upper half lies 0.8 ft too low
    calls = calls_of(heights)
    assert calls[19] == "reverse"
    assert (calls == "reverse").sum() == 1


def test_single_pair_of_a_log_is_judged_like_any_other():
    fall_ft = -1.7 * ERROR_M * 2**0.5 / b.FT  # P(reverse) 0.955
    assert calls_of([700.0, 700.0 + fall_ft]).tolist() == ["reverse"]
    assert calls_of([700.0, 700.0 + fall_ft * 0.9]).tolist() == ["cannot_tell"]


def test_surveyed_points_keep_the_plain_rule():
    heights = [95.00, 95.10, 95.25, 95.20, 95.35]  # A06 drawn as elevations: the third reach rises downstream
    assert calls_of(heights, located_by="level").tolist() == ["falls", "falls", "reverse", "falls"]
