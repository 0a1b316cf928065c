"""A county brought up to date after edits is the county worked out as a whole. Figures in feet."""

import builders as b
import edits
import numpy as np
import pytest
from cases import in_metres
from equality import assert_same_county
from fallkeeper.plugin.county import County, drained
from fallkeeper.plugin.county_update import update_county
from fallkeeper.plugin.elevation.ground import sample_lines
from fallkeeper.plugin.limits import Limits
from fallkeeper.plugin.network import update
from fallkeeper.plugin.network.build import build_network
from fallkeeper.plugin.units import Units
from hypothesis import given, settings
from hypothesis import strategies as st

STEP_FT = 16.0
FIGURES = ("served", "inflows", "contradicted", "grades", "piece_grades")


def ground(x, y):
    """Slopes, and is missing in places."""
    return np.where((np.abs(x - 240) < 30) & (y > 60), np.nan, 98 + x / 400 - y / 310 + np.sin(x / 37))


def county_of(tables, with_ground, **options):
    network = build_network(*tables, **options)
    profile = None
    if with_ground:
        profile = sample_lines(network.lines, in_metres(ground), STEP_FT * b.FT, network.active)
    county = drained(County(network, Limits(), Units(), profile))
    for figure in FIGURES:
        getattr(county, figure)
    return county


@settings(max_examples=60, deadline=None)
@given(
    rows=edits.rows, accept=st.booleans(), with_ground=st.booleans(), tolerance=st.sampled_from([0.0, 1.0, 60.0]),
    data=st.data(),
)
def test_after_any_edits_the_county_is_the_one_worked_out_as_a_whole(rows, accept, with_ground, tolerance, data):
    options = {"tolerance_m": tolerance * b.FT, "accept_proposed": accept}
    county = county_of(edits.tables(rows), with_ground, **options)
    for _ in range(data.draw(st.integers(1, 3))):
        rows = edits.edited(data.draw, rows)
        tables = edits.tables(rows)
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(update, "_MOST_SHARE", 1.0)
            county = update_county(county, *tables, in_metres(ground) if with_ground else None).county
        assert_same_county(county, county_of(tables, with_ground, **options))


def farm(east):
    return [b.main(f"M{east}", (east, 300), (east, 0)), b.lateral(f"L{east}", (east + 80, 300), (east, 300))]


FARMS = [row for east in range(0, 6000, 1000) for row in farm(east)]


def test_the_ground_is_asked_along_new_lines_only():
    asked = []

    def sampler(x_m, y_m):
        asked.append(len(x_m))
        return in_metres(ground)(x_m, y_m)

    county = county_of((b.drains(*FARMS), b.structures(b.outlet(0, 0)), b.shots()), True)
    moved = b.lateral("L1000", (1090, 300), (1000, 300))
    rows = [moved if row["drain_id"] == "L1000" else row for row in FARMS]
    found = update_county(county, b.drains(*rows), b.structures(b.outlet(0, 0)), sampler=sampler)
    assert sum(asked) == np.ceil(90 / STEP_FT) + 1
    assert len(found.part.network.drains) == 2
    assert_same_county(found.county, county_of((b.drains(*rows), b.structures(b.outlet(0, 0)), b.shots()), True))


def test_the_ground_is_kept_where_all_is_built_anew():
    county = county_of((b.drains(*FARMS), b.structures(), b.shots()), True)
    found = update_county(county, b.drains(*FARMS), b.structures(b.outlet(0, 0)), sampler=in_metres(ground))
    assert found.part is None and "outlet" in found.update.why_all
    assert_same_county(found.county, county_of((b.drains(*FARMS), b.structures(b.outlet(0, 0)), b.shots()), True))


def test_what_nobody_asked_for_is_not_worked_out():
    network = build_network(b.drains(*FARMS))
    found = update_county(County(network, Limits(), Units()), b.drains(*FARMS[1:]))
    assert not set(FIGURES) & set(vars(found.county))
