"""Shares, ways and notices of owners: three owners on one main, and the demo county."""

import numpy as np
import pytest
from builders import box, land
from fallkeeper.plugin.county import County
from fallkeeper.plugin.land.notices import Owners, crossings, owner_shares, to_tell, water_of_owners
from fallkeeper.plugin.land.owners import NOBODY, LandMap, land_crossed, split_by_land
from fallkeeper.plugin.land.ways import owner_ways
from fallkeeper.plugin.limits import Limits
from fallkeeper.plugin.network.build import build_network
from fallkeeper.plugin.network.trace import PlaceOnPipe, trace_upstream
from fallkeeper.plugin.tables import Drains, Land, Structures
from fallkeeper.plugin.trace_sums import sum_above
from scenario import UNITS, scenario_frames

T, K, M = 0, 1, 2


def three_reaches():
    """Reaches on the land of T, K and M, outlet first; each owner's laterals join at the upper end of his reach."""
    reach, laterals = np.array([0, 1, 2]), np.array([3, 4, 5])
    below = {0: None, 1: 0, 2: 1, 3: 0, 4: 1, 5: 2}

    def sum_down(own):
        total = np.array(own, dtype=float)
        for piece in (5, 4, 3, 2, 1):
            total[below[piece]] += total[piece]
        return total

    water = water_of_owners(laterals, np.array([T, K, M]), np.array([4.0, 3.0, 1.0]), np.zeros(6, dtype=int), sum_down)
    lengths = np.array([100.0, 200.0, 300.0])
    return water, crossings(water, reach, np.array([T, K, M]), lengths)


def at_piece(water, piece):
    here = water.piece == piece
    return water.owner[here], water.area_m2[here]


def test_shares_at_the_outlet():
    water, _ = three_reaches()
    shares = owner_shares(*at_piece(water, 0))
    assert shares.owner.tolist() == [T, K, M]
    assert shares.share.tolist() == [0.5, 0.375, 0.125]


def test_water_of_those_above_runs_under_those_below():
    _, found = three_reaches()
    assert list(zip(found.owner, found.through, found.length_m)) == [(K, T, 100.0), (M, K, 200.0), (M, T, 100.0)]


def test_all_whose_land_drains_through_a_plug_are_told():
    water, _ = three_reaches()
    assert to_tell(*at_piece(water, 0), [T]).tolist() == [T, K, M]
    assert to_tell(*at_piece(water, 1), [K]).tolist() == [K, M]


def test_the_owner_of_the_place_is_told_even_if_none_of_his_land_drains_there():
    assert to_tell(np.array([M, NOBODY]), np.array([2.0, 1.0]), np.array([T])).tolist() == [M, T]


def test_land_of_an_unknown_owner_stands_for_itself():
    rows = (box("1", 0, 0, 1, 1, owner="Ann"), box("2", 1, 0, 2, 1, name="Old lane", owner=None),
            box("3", 2, 0, 3, 1, owner="Ann"), box("4", 3, 0, 4, 1, owner=None))
    owners = Owners.of(land(*rows))
    assert owners.of_rows(np.array([0, 1, 2, 3, NOBODY])).tolist() == [0, 1, 0, 2, NOBODY]
    assert owners.name.tolist() == ["Ann", "Old lane", "4"]
    assert owners.known.tolist() == [True, False, False]


@pytest.fixture(scope="module")
def ossel():
    frames = scenario_frames(bridged=True)
    network = build_network(Drains.from_frame(frames["drains"]), Structures.from_frame(frames["structures"]))
    layer = Land.from_frame(frames["land"])
    return County(network, Limits(), UNITS), LandMap.of(layer), Owners.of(layer)


def acres_by_owner(ossel, line, from_m, to_m):
    county, polygons, owners = ossel
    split = split_by_land(county.served, line, from_m, to_m, polygons)
    shares = owner_shares(owners.of_rows(split.land), split.area_m2)
    return {owners.name[k]: area / UNITS.area_m2 for k, area in zip(shares.owner, shares.area_m2)}


def above(ossel, drain_id, y_ft):
    """Stretches that drain through the main at a height y."""
    county = ossel[0]
    network = county.network
    line = int(np.flatnonzero(network.drains.drain_id[network.lines.drain] == drain_id)[0])
    ends_y = network.lines.xy[network.lines.first[line]:network.lines.first[line + 1], 1]
    at_m = abs(y_ft * UNITS.length_m - ends_y[0])
    pieces = network.pieces
    piece = int(np.flatnonzero((pieces.line == line) & (pieces.from_m < at_m) & (pieces.to_m > at_m))[0])
    return sum_above(county, trace_upstream(network, PlaceOnPipe(piece, at_m, 0.0), county.down))


def test_shares_at_both_outlets(ossel):
    network = ossel[0].network
    pieces = network.pieces
    acres = []
    for system in np.unique(network.piece_system):
        mine = network.piece_system == system
        acres.append(acres_by_owner(ossel, pieces.line[mine], pieces.from_m[mine], pieces.to_m[mine]))
    assert acres[0] == pytest.approx(
        {"Ebbing Kiln Farm": 40.0, "Tarrowick Farm": 39.013, "Meeting hall": 0.987}, abs=5e-4)
    assert acres[1] == pytest.approx(
        {"Low Sedge Farm": 35.0, "Tarrowick Farm": 18.0, "Ebbing Kiln Farm": 17.0}, abs=1e-6)


def test_land_above_the_plug_by_owner(ossel):
    found = above(ossel, "A-1", 905.0)
    assert found.lateral_count == 46
    assert acres_by_owner(ossel, found.line, found.from_m, found.to_m) == pytest.approx(
        {"Ebbing Kiln Farm": 40.0, "Tarrowick Farm": 5.311, "Meeting hall": 0.689}, abs=5e-4)


def test_land_above_the_hole_by_owner(ossel):
    found = above(ossel, "B-1", 430.0)
    assert acres_by_owner(ossel, found.line, found.from_m, found.to_m) == pytest.approx(
        {"Low Sedge Farm": 28.0, "Ebbing Kiln Farm": 17.0, "Tarrowick Farm": 11.0}, abs=1e-6)


def test_four_laterals_pass_under_the_lot(ossel):
    county, polygons, owners = ossel
    lines = county.network.lines
    every = np.arange(len(lines))
    crossed = land_crossed(lines, every, np.zeros(len(every)), lines.length_m, polygons, tolerance_m=0.01)
    under = owners.of_rows(crossed.land) == owners.name.tolist().index("Meeting hall")
    names = county.network.drains.drain_id[lines.drain[crossed.stretch[under]]]
    assert sorted(names) == ["F2-17", "F2-18", "F2-19", "F2-20"]
    assert crossed.length_m[under] / UNITS.length_m == pytest.approx(np.full(4, 200.0))


def lengths_of_kiln_water(ossel, drain_ids):
    """Feet of these drains under whose land Ebbing Kiln's water runs."""
    county, polygons, owners = ossel
    network, pieces = county.network, county.network.pieces
    ways = owner_ways(
        county.served, pieces.line, pieces.from_m, pieces.to_m, network.direction, network.piece_system,
        county.down.sum_down, polygons, owners, tolerance_m=0.01,
    )
    kiln = owners.name.tolist().index("Ebbing Kiln Farm")
    carries = ways.water.piece[ways.water.owner == kiln]
    carries = carries[np.isin(network.drains.drain_id[network.piece_drain[carries]], drain_ids)]
    crossed = land_crossed(
        network.lines, pieces.line[carries], pieces.from_m[carries], pieces.to_m[carries], polygons, tolerance_m=0.01)
    part = {}
    keys = np.unique(np.stack([crossed.stretch, crossed.from_m, crossed.to_m, owners.of_rows(crossed.land)]), axis=1)
    for _, begin, end, owner in keys.T:
        name = owners.name[int(owner)] if owner != NOBODY else None
        part[name] = part.get(name, 0.0) + (end - begin) / UNITS.length_m
    return part, ways, kiln


def test_kiln_water_on_main_a(ossel):
    feet, _, _ = lengths_of_kiln_water(ossel, ["A-1", "A-2"])
    assert feet.pop("Ebbing Kiln Farm") > 0
    assert feet == pytest.approx({"Ossel County": 60.0, "Tarrowick Farm": 1050.0, None: 50.0})


def test_kiln_water_on_main_b_runs_on_the_line_of_two_owners(ossel):
    feet, _, _ = lengths_of_kiln_water(ossel, ["B-1", "B-2", "B-gap", "B-3"])
    assert feet["Ossel County"] == pytest.approx(60.0)
    assert feet["Tarrowick Farm"] == pytest.approx(1050.0)
    assert feet["Low Sedge Farm"] == pytest.approx(1050.0 + 840.0)  # and along its own field F7, y 1160 to 2000


def test_ways_of_all_water_of_kiln(ossel):
    _, ways, kiln = lengths_of_kiln_water(ossel, [])
    owners = ossel[2]
    found = {
        owners.name[t] if t != NOBODY else None: length / UNITS.length_m
        for o, t, length in zip(ways.crossings.owner, ways.crossings.through, ways.crossings.length_m) if o == kiln
    }
    assert found == pytest.approx(
        {"Tarrowick Farm": 2100.0, "Low Sedge Farm": 1890.0, "Ossel County": 120.0, None: 100.0})


def test_water_that_enters_below_a_boundary_is_not_said_to_cross_what_lies_above_it(ossel):
    """The upper 641.2 ft of F2-17 to F2-20 lie above Hall Lot; T's water passes the lot, the lot's water not those."""
    _, ways, _ = lengths_of_kiln_water(ossel, [])
    owners = ossel[2]
    farm, hall = (owners.name.tolist().index(n) for n in ("Tarrowick Farm", "Meeting hall"))
    feet = {(o, t): v / UNITS.length_m
            for o, t, v in zip(ways.crossings.owner, ways.crossings.through, ways.crossings.length_m)}
    assert feet[farm, hall] == pytest.approx(800.0)
    # main A below y = 1050, 30 ft of each of four laterals, and F2-16, whose strip reaches into the lot
    assert feet[hall, farm] == pytest.approx(1000 + 4 * 30 + 871.2)


def test_a_network_that_serves_nothing_has_no_ways():
    none, nothing = np.zeros(0, dtype=int), np.zeros(0)
    water = water_of_owners(none, none, nothing, np.zeros(3, dtype=int), lambda own: own)
    found = crossings(water, np.array([0, 1]), np.array([T, NOBODY]), np.array([10.0, 10.0]))
    assert (len(water.piece), len(found.owner)) == (0, 0)
    assert to_tell(none, nothing, none).tolist() == []
    assert owner_shares(none, nothing).share.tolist() == []
