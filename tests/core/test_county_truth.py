"""A generated county of 20,000 drains against the table of what was built; then faults of other kinds added by hand.

Half the joins of the county are exact, a quarter stops 1 to 20 cm short and a quarter runs on as far; half the
lines are drawn against the flow. Metres throughout.
"""

import subprocess
import sys
from dataclasses import dataclass
from functools import cached_property

import geopandas
import networkx as nx
import numpy as np
import pandas
import pyogrio
import pytest
import shapely
from fallkeeper.plugin.checks.case import Case
from fallkeeper.plugin.checks.reverse_grade import reverse_grade
from fallkeeper.plugin.checks.run import run_checks
from fallkeeper.plugin.checks.smaller_downstream import smaller_downstream
from fallkeeper.plugin.county import County
from fallkeeper.plugin.limits import Limits
from fallkeeper.plugin.network.build import build_network
from fallkeeper.plugin.network.loose_ends import find_loose_ends
from fallkeeper.plugin.tables import Drains, Structures
from fallkeeper.plugin.units import METRIC, Units
from outside import county_generator

LINES = 20_000
TOLERANCE_M = 0.25
EXACT_M = 0.01
EACH = 20


@dataclass(frozen=True)
class Given:
    """The county as frames; in `truth`, `down` is the row of the drain that takes the water, -1 at an outlet."""

    drains: geopandas.GeoDataFrame
    structures: geopandas.GeoDataFrame
    truth: pandas.DataFrame

    def network(self, accept_proposed=True):
        drains, structures = Drains.from_frame(self.drains), Structures.from_frame(self.structures)
        return build_network(drains, structures, tolerance_m=TOLERANCE_M, accept_proposed=accept_proposed)

    def rows(self, fault):
        return np.flatnonzero(self.truth["fault"] == fault)

    @cached_property
    def down(self):
        return self.truth["down"].to_numpy()

    @cached_property
    def disconnected(self):
        return (self.truth["fault"] == "disconnected").to_numpy()

    @cached_property
    def exact(self):
        """Whether the lower end lies where it should without anybody's consent; the table rounds gaps to 0.1 mm."""
        lines = self.drains.geometry.values
        ends = np.where(self.truth["reversed"], shapely.get_point(lines, 0), shapely.get_point(lines, -1))
        return np.where(self.down < 0, True, shapely.distance(ends, lines[self.down]) <= EXACT_M)

    def graph(self, rows):
        """Rows with the row each empties into, by the table."""
        graph = nx.DiGraph()
        graph.add_nodes_from(range(len(self.truth)))
        graph.add_edges_from((int(row), int(self.down[row])) for row in rows if self.down[row] >= 0)
        return graph


@pytest.fixture(scope="module")
def given(tmp_path_factory):
    folder = tmp_path_factory.mktemp("county")
    order = [sys.executable, county_generator(), "--lines", str(LINES), "--out", str(folder), "--no-dem"]
    subprocess.run(order, check=True, capture_output=True)
    path = folder / "county.gpkg"
    drains, structures, truth = (pyogrio.read_dataframe(path, layer=name) for name in ("drains", "structures", "truth"))
    row_of = pandas.Series(np.arange(len(drains)), index=drains["drain_id"])
    truth = truth.set_index("drain_id").loc[drains["drain_id"]].reset_index()
    truth["down"] = row_of.reindex(truth["down_id"].astype(int).astype(str)).fillna(-1).astype(int).to_numpy()
    assert len(drains) == LINES
    return Given(drains, structures, truth)


@pytest.fixture(scope="module")
def network(given):
    return given.network()


def lowest_pieces(network):
    """By line the piece at its lower end, -1 for a line without one."""
    pieces = network.pieces
    to_end = pieces.to_m >= network.lines.length_m[pieces.line] - 1.0
    at_foot = np.where(network.direction > 0, to_end, pieces.from_m <= 1.0)
    at_foot &= network.direction != 0
    lowest = np.full(len(network.lines), -1)
    lowest[pieces.line[at_foot]] = np.flatnonzero(at_foot)
    return lowest


def rows_below(network):
    """By drain the row its water goes on into, -1 where it leaves the network, -2 where that is not known."""
    lowest = lowest_pieces(network)
    outlet = np.isin(network.node_down[lowest], network.outlets.node)
    leaving = np.full(len(network.nodes), -2)
    leaving[network.node_up] = network.piece_drain
    return np.where(lowest < 0, -2, np.where(outlet, -1, leaving[network.node_down[lowest]]))


def pairs(network, joints):
    drain = network.lines.drain
    return set(zip(drain[joints.line].tolist(), drain[joints.other].tolist()))


def test_every_join_of_the_table_is_there_and_no_other(given, network):
    wanted = {(int(row), int(given.down[row])) for row in np.flatnonzero(~given.disconnected & (given.down >= 0))}
    found = {tuple(sorted(pair)) for joints in (network.made, network.proposed) for pair in pairs(network, joints)}
    assert {tuple(sorted(pair)) for pair in wanted} <= found
    for one, other in found - {tuple(sorted(pair)) for pair in wanted}:
        assert given.down[one] == given.down[other], "only pipes that empty into one place may meet besides"
    components = nx.number_connected_components(given.graph(np.flatnonzero(~given.disconnected)).to_undirected())
    assert network.system_count == components


def test_every_drain_flows_where_the_table_says(given, network):
    connected = ~given.disconnected
    assert (rows_below(network)[connected] == given.down[connected]).all()
    drawn_against = given.truth["reversed"].to_numpy()[network.piece_drain]
    known = connected[network.piece_drain]
    assert (network.direction[known] == np.where(drawn_against, -1, 1)[known]).all()


def test_the_disconnected_laterals_and_no_others_reach_no_outlet_and_end_loose(given, network):
    assert network.drains_without_outlet.tolist() == given.rows("disconnected").tolist()
    loose = find_loose_ends(network)
    drain = network.lines.drain[loose.line]
    assert sorted(drain.tolist()) == given.rows("disconnected").tolist()
    assert network.lines.drain[loose.toward].tolist() == given.down[drain].tolist()
    assert loose.gap_m == pytest.approx(given.truth["gap_m"].abs().to_numpy()[drain], abs=0.35)


def test_no_loop_no_duplicate_and_nothing_left_out(network):
    assert (network.flow.loop < 0).all()
    assert not len(network.duplicates.line)
    assert not network.unusable
    assert not len(network.off_pipe_outlets)
    assert not len(network.past_outlet.line)
    leaving = np.bincount(network.node_up[network.direction != 0])
    assert leaving.max() == 1, "no split"


def test_only_pipes_that_truly_cross_are_crossings(given, network):
    """The generator leads a few mains across others: pairs that cross by GEOS and do not join by the table."""
    geometry = given.drains.geometry.values
    one, other = shapely.STRtree(geometry).query(geometry, predicate="crosses")
    joined = (given.down[one] == other) | (given.down[other] == one)
    expected = {tuple(sorted(pair)) for pair in zip(one[~joined].tolist(), other[~joined].tolist())}
    assert {tuple(sorted(pair)) for pair in pairs(network, network.crossings)} == expected


def test_pipe_above_every_drain_is_that_of_a_walk_over_the_table(given, network):
    """Within the gaps and overshoots of the joints above, at most 20 cm each."""
    county = County(network, Limits(), Units(METRIC))
    above = county.length_above_m[lowest_pieces(network)]
    order = list(nx.topological_sort(given.graph(np.flatnonzero(~given.disconnected))))
    length, count = shapely.length(given.drains.geometry.values), np.ones(len(given.truth))
    for row in order:
        if given.down[row] >= 0 and not given.disconnected[row]:
            length[given.down[row]] += length[row]
            count[given.down[row]] += count[row]
    connected = ~given.disconnected
    assert (np.abs(above - length)[connected] <= 0.21 * count[connected]).all()


def test_without_consent_only_exact_joints_are_in_force(given):
    network = given.network(accept_proposed=False)
    off = ~given.disconnected & (given.down >= 0) & ~given.exact
    assert {tuple(sorted(pair)) for pair in pairs(network, network.proposed)} == {
        tuple(sorted((int(row), int(given.down[row])))) for row in np.flatnonzero(off)
    }
    joined = given.graph(np.flatnonzero(~given.disconnected & given.exact))
    outlets = np.flatnonzero(given.down < 0)
    served = set(outlets.tolist()).union(*(nx.ancestors(joined, int(row)) for row in outlets))
    lacking = sorted(set(range(LINES)) - served)
    assert network.drains_without_outlet.tolist() == lacking
    assert network.drains_waiting.tolist() == sorted(set(lacking) - set(given.rows("disconnected").tolist()))


def test_reversed_inverts_and_narrowings_are_found_and_no_others(given, network):
    case = Case(County(network, Limits(), Units(METRIC)))
    results = run_checks(case, [reverse_grade, smaller_downstream])
    assert not results.crashed
    reverse = results.findings.of("reverse-grade")
    assert sorted(set(reverse.drain[reverse.call == "reverse"].tolist())) == given.rows("reverse_grade").tolist()
    narrow = results.findings.of("smaller-downstream")
    assert sorted(set(narrow.drain.tolist())) == given.rows("narrowing").tolist()


def neighbours(given, count):
    """Rows of laterals k and k + 1 that lie side by side on one straight reach of a main; far from one another."""
    role = given.drains["role"].to_numpy()
    usable = (role == "lateral") & (given.truth["fault"] == "").to_numpy() & given.exact
    first = np.flatnonzero(usable[:-1] & usable[1:] & (given.down[:-1] == given.down[1:]))
    middle = shapely.line_interpolate_point(given.drains.geometry.values, 0.5, normalized=True)
    apart = shapely.distance(middle[first], middle[first + 1])
    first = first[np.abs(apart - 15.0) < 0.1]
    return first[np.linspace(0, len(first) - 1, count).astype(int)]


@pytest.fixture(scope="module")
def spoiled(given):
    """The county with faults of five more kinds, EACH of each; the drains concerned by kind."""
    drains, structures = given.drains.copy(), given.structures
    first = neighbours(given, 4 * EACH)
    rung, across, twice, parted = (first[k::4] for k in range(4))
    lines = drains.geometry.values
    middle = shapely.line_interpolate_point(lines, 0.5, normalized=True)
    added = []

    def add(key, shape, **fields):
        added.append({"drain_id": key, "role": "lateral", "spacing": 15.0, "geometry": shape, **fields})

    for k, row in enumerate(rung):
        add(f"rung {k}", shapely.LineString([middle[row], middle[row + 1]]))
    for k, row in enumerate(across):
        (x0, y0), (x1, y1) = (shapely.get_coordinates(middle[r])[0] for r in (row, row + 1))
        step = (x1 - x0) / 2, (y1 - y0) / 2
        add(f"across {k}", shapely.LineString([(x0 - step[0], y0 - step[1]), (x0 + step[0], y0 + step[1])]))
    for k, row in enumerate(twice):
        beside = shapely.transform(lines[row], lambda xy: xy + 0.05)
        add(f"twice {k}", shapely.reverse(beside) if k % 2 else beside)
    for row in parted:
        (x0, y0), (x1, y1) = shapely.get_coordinates(lines[row])[[0, -1]]
        half = (x0 + x1) / 2, (y0 + y1) / 2
        drains.geometry.values[row] = shapely.MultiLineString([[(x0, y0), half], [half, (x1, y1)]])
    outlets = []
    east = drains.total_bounds[2] + 500.0
    for k in range(EACH):
        x, y = east + 200.0 * k, drains.total_bounds[1]
        for way, foot, z in (("top", None, 5.0), ("left", -40.0, 4.0), ("right", 40.0, 4.0)):
            ends = [(x, y + 100.0), (x, y)] if foot is None else [(x, y), (x + foot, y - 50.0)]
            add(f"split {k} {way}", shapely.LineString(ends), invert_start=z, invert_end=z - 1.0)
            if foot is not None:
                point = shapely.Point(ends[1])
                outlets.append({"structure_id": f"split {k} {way}", "kind": "outlet", "geometry": point})
    more = geopandas.GeoDataFrame(added, crs=drains.crs)
    marks = geopandas.GeoDataFrame(outlets, crs=drains.crs)
    whole = Given(pandas.concat([drains, more], ignore_index=True), pandas.concat([structures, marks]), given.truth)
    return whole, {"rung": rung, "across": across, "twice": twice, "parted": parted}


def test_faults_added_by_hand_are_found_and_no_others(given, network, spoiled):
    whole, rows = spoiled
    found = whole.network()
    ids = found.drains.drain_id

    def named(*kinds):
        return {str(key) for key in ids if str(key).split(" ")[0] in kinds}

    assert {ids[found.lines.drain[line]] for line in found.duplicates.line} == named("twice")
    assert {fault.drain for fault in found.unusable} == set(rows["parted"].tolist())
    assert all(fault.used for fault in found.unusable)

    def crossing_ids(network):
        return {
            tuple(sorted((network.drains.drain_id[a], network.drains.drain_id[b])))
            for a, b in pairs(network, network.crossings)
        }

    crossed = {tuple(sorted((f"across {k}", ids[row]))) for k, row in enumerate(rows["across"])}
    assert crossing_ids(found) == crossing_ids(network) | crossed
    ring = {ids[d] for d in found.piece_drain[found.flow.loop >= 0]}
    sides = {ids[row + k] for row in rows["rung"] for k in (0, 1)}
    assert ring == named("rung") | sides | {ids[given.down[row]] for row in rows["rung"]}
    assert len(np.unique(found.flow.loop[found.flow.loop >= 0])) == EACH
    plain = (found.direction != 0) & (found.flow.loop < 0)  # inverts are known, so a ring parts where it is highest
    leaving = np.bincount(found.node_up[plain], minlength=len(found.nodes))
    split_at = {ids[row] for row in found.piece_drain[plain & (leaving[found.node_up] > 1)]}
    assert split_at == {key for key in named("split") if not key.endswith("top")}
    lacking = {ids[d] for d in found.drains_without_outlet}
    assert lacking == {ids[d] for d in network.drains_without_outlet} | named("across")
