"""A ground in another unit or on another datum than the inverts."""

import builders as b
import numpy as np
import pytest
from fallkeeper.plugin.elevation.evidence import Evidence
from fallkeeper.plugin.elevation.ground import sample_lines
from fallkeeper.plugin.elevation.plausible import fit_of_ground
from fallkeeper.plugin.elevation.points import collect_points
from fallkeeper.plugin.limits import Limits
from fallkeeper.plugin.network.lines import explode
from fallkeeper.plugin.tables import Shots

LIMITS = Limits()


def fit(ground_m, invert_m=212.0):
    rows = [
        b.main(f"A{k}", (0, 9 * k), (100, 9 * k), invert_start=invert_m + k * 0.1, invert_end=invert_m + k * 0.1)
        for k in range(3)
    ]
    drains = b.drains(*rows, unit_m=1.0)
    lines, _ = explode(drains.geometry)
    points = collect_points(lines, drains, Shots.none(), LIMITS, 0.3)
    ground = None
    if ground_m is not None:
        ground = sample_lines(lines, lambda x, y: np.full(len(x), ground_m), 5.0, np.ones(3, dtype=bool))
    return fit_of_ground(Evidence(lines, drains, points, ground, LIMITS))


def test_ground_a_little_above_the_inverts_is_plausible():
    found = fit(213.1)
    assert (found.points, found.implausible, found.looks_like) == (6, False, "")
    assert found.median_depth_m == pytest.approx(1.0)


def test_ground_in_feet_taken_for_metres():
    found = fit(213.1 / 0.3048)
    assert found.implausible and found.looks_like == "feet"
    assert found.ratio == pytest.approx(3.296, abs=0.001)


def test_ground_in_metres_taken_for_feet():
    found = fit(213.1 * 0.3048)
    assert found.implausible and found.looks_like == "metres"


def test_pipes_above_ground_and_another_datum_are_implausible_without_a_guess():
    assert fit(211.0).implausible and fit(211.0).looks_like == ""
    assert fit(230.0).implausible and fit(230.0).looks_like == ""


def test_without_ground_or_inverts_there_is_nothing_to_doubt():
    for found in (fit(None), fit(213.0, np.nan), fit(np.nan)):
        assert found.points == 0 and np.isnan(found.median_depth_m) and not found.implausible
