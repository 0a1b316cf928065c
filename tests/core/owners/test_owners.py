"""Owner by owner: shares at outlets, ways of water, whom to tell. Figures in feet and acres."""

import builders as b
import numpy as np
import pytest
import scenarios
from fallkeeper.plugin.network.trace import place_near
from fallkeeper.plugin.owners import tables
from fallkeeper.plugin.owners.notice import whom_to_tell
from fallkeeper.plugin.owners.sums import OwnerSums
from hypothesis import given, settings
from hypothesis import strategies as st
from owner_cases import a34, sums_of


def rows_of(columns):
    return [dict(zip(columns, values)) for values in zip(*columns.values())]


def tell(sums, x, y, downstream=False):
    place = place_near(sums.county.network, (x * b.FT, y * b.FT), 30.0)
    notice = whom_to_tell(sums.county, place, sums.land, sums.owners, sums.map, downstream)
    return rows_of(tables.notices_table(sums, notice))


def test_a34_shares_and_ways():
    sums = sums_of(*a34())
    rows = rows_of(tables.owners_table(sums))
    assert [(row["owner"], row["area"], row["share"]) for row in rows] == [
        ("T", pytest.approx(4.0), pytest.approx(0.5)), ("K", pytest.approx(3.0), pytest.approx(0.375)),
        ("M", pytest.approx(1.0), pytest.approx(0.125)),
    ]
    shares = rows_of(tables.shares_table(sums))
    assert [(row["outlet"], row["owner"], round(row["share"], 6)) for row in shares] == [
        ("O", "T", 0.5), ("O", "K", 0.375), ("O", "M", 0.125),
    ]
    ways = {(row["owner"], row["through"]): row["length"] for row in rows_of(tables.crossings_table(sums))}
    assert ways == {("K", "T"): pytest.approx(1000), ("M", "K"): pytest.approx(1000), ("M", "T"): pytest.approx(1000)}
    assert rows[2]["through"] == "K 1,000; T 1,000"
    assert rows[0]["others_area"] == pytest.approx(4.0), "all of K and M runs through T's pipe"
    assert rows[0]["outlets"] == "O 4.0"


def test_a34_whom_to_tell():
    sums = sums_of(*a34())
    assert [row["owner"] for row in tell(sums, 0, 500)] == ["T", "K", "M"]
    assert [row["owner"] for row in tell(sums, 0, 1500)] == ["K", "M"], "T's laterals join below"
    below = tell(sums, 0, 1500, downstream=True)
    assert [(row["owner"], row["length_below"]) for row in below] == [
        ("K", pytest.approx(500)), ("M", 0), ("T", pytest.approx(1000)),
    ]
    assert below[2]["why"] == "the way to the outlet runs under this land"
    first = below[0]
    assert (first["order"], first["contact"], first["share"]) == (1, "phone of K", pytest.approx(0.75))
    assert first["why"].startswith("land drains through it; it lies on this land; pipe above it")


def test_other_acres():
    sums = sums_of(*a34((1.0, 2.0, 5.0)))
    assert [row["owner"] for row in rows_of(tables.owners_table(sums))] == ["M", "K", "T"]
    assert [row["owner"] for row in tell(sums, 0, 500)] == ["M", "K", "T"]


def test_the_sample_at_both_outlets_and_at_the_plug():
    case = scenarios.case(bridged=True, with_ground=False)
    sums = OwnerSums(case.county, case.land)
    shares = {(row["outlet"], row["owner"]): (round(row["area"], 3), round(row["share"], 4))
              for row in rows_of(tables.shares_table(sums))}
    assert shares == {
        ("Outlet OA", "Tarrowick Farm"): (39.013, 0.4877), ("Outlet OA", "Meeting hall"): (0.987, 0.0123),
        ("Outlet OA", "Ebbing Kiln Farm"): (40.0, 0.5), ("Outlet OB", "Tarrowick Farm"): (18.0, 0.2571),
        ("Outlet OB", "Low Sedge Farm"): (35.0, 0.5), ("Outlet OB", "Ebbing Kiln Farm"): (17.0, 0.2429),
    }
    foot = case.units.foot_m
    place = place_near(case.network, (1000 * foot, 905 * foot), 30.0)
    notice = whom_to_tell(case.county, place, case.land, sums.owners, sums.map, downstream=False)
    told = {row["owner"]: (round(row["area"], 3), row["why"]) for row in rows_of(tables.notices_table(sums, notice))}
    assert list(told) == ["Ebbing Kiln Farm", "Tarrowick Farm", "Meeting hall", "Ossel County"]
    assert [area for area, _ in told.values()] == [40.0, 5.311, 0.689, 0.0]
    assert told["Ossel County"][1] == "pipe above it runs under this land", "water may come up in the road"


def test_land_behind_a_gap_drains_to_no_outlet():
    case = scenarios.case(bridged=False, with_ground=False)
    sums = OwnerSums(case.county, case.land)
    lacking = [(row["owner"], round(row["area"], 6), round(row["outlet_area"], 6))
               for row in rows_of(tables.shares_table(sums)) if row["outlet"] == tables.NO_OUTLET]
    assert sorted(lacking) == [("Ebbing Kiln Farm", 8.0, 16.0), ("Low Sedge Farm", 8.0, 16.0)]


def test_pipe_on_the_line_of_two_owners_counts_for_both_and_inside_one_owners_land_once():
    rows = [b.main("M", (0, 0), (0, 300))]
    both = sums_of(rows, [b.box("W", -500, 0, 0, 300, owner="W"), b.box("E", 0, 0, 500, 300, owner="E")])
    assert both.pipe_m[:2] / b.FT == pytest.approx([300, 300])
    one = sums_of(rows, [b.box("W", -500, 0, 0, 300, owner="A"), b.box("E", 0, 0, 500, 300, owner="A")])
    assert one.pipe_m[:1] / b.FT == pytest.approx([300])


def test_unknown_owners_and_nobodys_land_keep_their_own_rows():
    rows, land = a34()
    land[1].update(owner=None, name="the lane")
    rows_ = rows_of(tables.owners_table(sums_of(rows, land[:2])))
    assert [(row["owner"], round(row["area"], 6)) for row in rows_] == [
        ("T", 4.0), ("owner of the lane not known", 3.0), (tables.NOBODYS, 1.0),
    ]
    assert rows_[2]["contact"] is None
    assert np.isnan(rows_[2]["land_area"])


sizes = st.lists(st.floats(0.2, 5.0), min_size=3, max_size=3)


@settings(max_examples=20, deadline=None)
@given(sizes, st.floats(-400, 4000), st.booleans())
def test_owners_together_are_the_whole(acres, east, split):
    """Whatever the boundaries, areas over owners are the land served; outlets and no outlet together as well."""
    rows, land = a34(acres)
    if split:
        rows = [row for row in rows if row["drain_id"] != "main"]
        rows += [b.main("low", (0, 1200), (0, 0)), b.main("high", (0, 3000), (0, 1300))]
    land = [*land[:2], b.box("X", east, 0, 5000, 3000, owner="X")]
    sums = sums_of(rows, land)
    served = sums.county.piece_area_m2.sum()
    assert sums.drained_m2.sum() == pytest.approx(served)
    assert sums.at_outlets.area_m2.sum() + sums.without_outlet_m2.sum() == pytest.approx(served)
    shares = tables.shares_table(sums)
    for outlet in set(shares["outlet"].tolist()):
        assert shares["share"][shares["outlet"] == outlet].sum() == pytest.approx(1.0, abs=1e-5)
    length = sums.county.network.pieces.length_m.sum()
    assert sums.pipe_m.sum() >= length - 1e-6
