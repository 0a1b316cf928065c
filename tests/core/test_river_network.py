"""Networks of real rivers, published with the sum of all lengths above: found again from the drawn lines alone.

The published tables (National Hydrography Dataset Plus, U.S. Geological Survey and Environmental Protection Agency)
give for every reach its length LENGTHKM and ArbolateSu, the length of river at and above its foot. The network is
built from geometry and outlets only; then LENGTHKM summed over what a trace finds above each reach, itself included,
must be ArbolateSu. Lengths are taken from the table, since the drawn lines are simplified and their own lengths do not
agree with it. Where a river parts, the published sum follows the main branch only (Divergence 2 marks the others),
while water in a network of pipes is shared.
"""

from dataclasses import dataclass

import geopandas
import networkx as nx
import numpy as np
import pyogrio
import pytest
import shapely
from fallkeeper.plugin.county import County
from fallkeeper.plugin.limits import Limits
from fallkeeper.plugin.network.build import build_network
from fallkeeper.plugin.network.trace import PlaceOnPipe, trace_upstream
from fallkeeper.plugin.tables import Drains, Structures
from fallkeeper.plugin.units import METRIC, Units
from outside import data_file, data_folder

NEEDED = {"lengthkm", "fromnode", "tonode", "hydroseq", "dnhydroseq", "arbolatesu", "divergence", "startflag"}
WALKER = "river_network_walker.gpkg"
ROUNDING_KM = 1e-3  # of the published figures, which have three decimals


def rivers(plain=False):
    """Every layer of the test data that has the columns of a published river network; `plain`: those without arms."""
    if data_folder() is None:
        return [pytest.param(None, id="none named")]
    found = []
    for path in sorted(data_folder().glob("*.gpkg")):
        for name, *_ in pyogrio.list_layers(path):
            columns = {column.lower(): column for column in pyogrio.read_info(path, layer=name)["fields"]}
            if columns.keys() >= NEEDED and not (plain and has_arms(path, name, columns["divergence"])):
                found.append(pytest.param((path, name), id=path.stem))
    return found


def has_arms(path, name, column):
    return pyogrio.read_dataframe(path, layer=name, columns=[column], read_geometry=False)[column].any()


@dataclass(frozen=True)
class River:
    """`reaches` with column names in small letters, in a projected CRS in metres; `outlets` at the feet of those from
    which the water leaves the layer."""

    reaches: geopandas.GeoDataFrame
    outlets: geopandas.GeoDataFrame

    def __getitem__(self, column):
        return self.reaches[column].to_numpy()

    @property
    def has_all_above(self):
        """Whether everything above a reach is in the layer: there each sum is that of the reaches that end at its head,
        by the table alone, and its own length."""
        sums_ending = self.reaches.groupby("tonode")["arbolatesu"].sum()
        from_above = sums_ending.reindex(self["fromnode"]).fillna(0.0).to_numpy()
        from_above = np.where(self["divergence"] == 2, 0.0, from_above)
        lacking = np.abs(self["lengthkm"] + from_above - self["arbolatesu"]) > ROUNDING_KM
        graph = nx.DiGraph(zip(self["fromnode"], self["tonode"]))
        reached = set().union(*(nx.descendants(graph, n) | {n} for n in self["fromnode"][lacking]))
        return np.array([n not in reached for n in self["fromnode"]])

    def network(self, by_order=False):
        """From the lines and outlets alone; `by_order`: with the published order of the reaches as levels of nodes."""
        rows = {"drain_id": np.arange(len(self.reaches)).astype(str)}
        frame = geopandas.GeoDataFrame(rows, geometry=self.reaches.geometry.values)
        if by_order:
            level = dict.fromkeys(self["tonode"], 0.0)
            for node, order in zip(self["fromnode"], self["hydroseq"]):
                level[node] = max(level.get(node, 0.0), order)
            rank = {node: float(k) for k, node in enumerate(sorted(level, key=level.get))}
            frame["invert_start"] = [rank[node] for node in self["fromnode"]]
            frame["invert_end"] = [rank[node] for node in self["tonode"]]
        return build_network(Drains.from_frame(frame), Structures.from_frame(self.outlets), tolerance_m=0.3)

    def changed(self, geometry, keep=None):
        reaches = self.reaches.set_geometry(geopandas.GeoSeries(geometry, crs=self.reaches.crs), crs=self.reaches.crs)
        return River(reaches if keep is None else reaches.iloc[keep].reset_index(drop=True), self.outlets)


@pytest.fixture(scope="module", params=rivers())
def river(request):
    path, layer = request.param or (data_file(WALKER), None)  # left out where no data is named
    frame = pyogrio.read_dataframe(path, layer=layer)
    frame.columns = [column if column == frame.geometry.name else column.lower() for column in frame.columns]
    frame = frame.to_crs(frame.estimate_utm_crs())
    leaves = ~frame["dnhydroseq"].isin(frame["hydroseq"])
    feet = shapely.get_point(shapely.line_merge(frame.geometry.values[leaves]), -1)
    outlets = geopandas.GeoDataFrame(
        {"structure_id": [f"O{k}" for k in range(len(feet))], "kind": "outlet"}, geometry=feet, crs=frame.crs
    )
    return River(frame, outlets)


def rows_above(network):
    """By reach the rows found above its middle, and its own."""
    down = County(network, Limits(), Units(METRIC)).down
    found = {}
    for piece, (row, begin, end) in enumerate(zip(network.piece_drain, network.pieces.from_m, network.pieces.to_m)):
        above = trace_upstream(network, PlaceOnPipe(piece, (begin + end) / 2, 0.0), down)
        found[int(row)] = set(network.piece_drain[above.pieces].tolist()) | {int(row)}
    return found


def along_main_branches(river, rows, foot):
    """Of the rows above a reach those whose water comes to it by main branches only, as the published sums count."""
    leads_to = {}
    for row in rows:
        leads_to.setdefault(river["tonode"][row], []).append(row)
    counted, waiting = set(), [foot]
    while waiting:
        row = waiting.pop()
        counted.add(row)
        if river["divergence"][row] != 2:
            waiting += [above for above in leads_to.get(river["fromnode"][row], []) if above not in counted]
    return counted


def in_rings(network):
    return set(network.piece_drain[network.flow.loop >= 0].tolist())


def test_the_open_data_holds_a_river_of_both_kinds_of_tests():
    assert data_file(WALKER).is_file()
    assert rivers() and rivers(plain=True)


def test_the_drawn_lines_hang_together_and_reach_the_outlet(river):
    network = river.network()
    assert len(network.pieces) >= len(river.reaches)
    assert not network.unusable
    assert not len(network.drains_without_outlet)
    parts = river["divergence"].astype(bool).any()
    assert parts or not in_rings(network), "without divergences there are no rings"


def test_water_flows_where_the_table_says(river):
    """In rings nothing tells the direction; there the published order is given as levels."""
    for by_order in (False, True):
        network = river.network(by_order)
        rows = network.piece_drain
        assert by_order == (not network.open_both_ways.any()) or not in_rings(network)
        known = network.direction != 0
        below = {}
        for row, node in zip(rows[known].tolist(), network.node_up[known].tolist()):
            below.setdefault(node, []).append(row)
        for row, node in zip(rows[known].tolist(), network.node_down[known].tolist()):
            assert {river["fromnode"][r] for r in below.get(node, []) if r != row} <= {river["tonode"][row]}


def test_published_lengths_above_each_reach_add_up_to_the_published_sum(river):
    """To the metre: both have three decimals of a kilometre. Reaches with heads outside the layer have no sum here."""
    network = river.network(by_order=bool(river["divergence"].any()))
    whole = river.has_all_above
    checked = 0
    for row, rows in rows_above(network).items():
        if whole[row]:
            counted = along_main_branches(river, rows, row)
            total = river["lengthkm"][sorted(counted)].sum()
            assert total == pytest.approx(river["arbolatesu"][row], abs=ROUNDING_KM)
            checked += 1
    assert checked == whole.sum() > len(river.reaches) / 2


def test_ends_that_meet_within_millimetres_in_any_order_and_direction_make_the_same_network(river):
    """Drawn the other way, in several rows' order, as lines of parts, every vertex 3 mm off at most."""
    rng = np.random.default_rng(8)
    expected = rows_above(river.network())
    order = rng.permutation(len(river.reaches))
    lines = shapely.line_merge(river.reaches.geometry.values)
    lines = np.where(rng.random(len(lines)) < 0.5, shapely.reverse(lines), lines)
    lines = shapely.transform(lines, lambda xy: xy + rng.uniform(-0.003, 0.003, xy.shape))
    network = river.changed([shapely.MultiLineString([line]) for line in lines], keep=order).network()
    found = {int(order[row]): {int(order[r]) for r in rows} for row, rows in rows_above(network).items()}
    assert found == expected


@pytest.mark.parametrize("river", rivers(plain=True), indirect=True)
def test_a_side_arm_without_levels_is_open_both_ways_and_loses_nothing(river):
    """An arm drawn by hand round the reach with the most river above it, itself of 1 km by the table."""
    table = river.reaches.copy()
    inner = table["dnhydroseq"].isin(table["hydroseq"]) & (table["startflag"] == 0)
    beside = table[inner].sort_values("arbolatesu").iloc[-1]
    line = shapely.line_merge(beside[table.geometry.name])
    foot, middle, head = (shapely.line_interpolate_point(line, s, normalized=True) for s in (1.0, 0.5, 0.0))
    out = shapely.Point(middle.x + 0.3 * (head.y - foot.y), middle.y - 0.3 * (head.x - foot.x))
    arm = beside.copy()
    arm[table.geometry.name], arm["lengthkm"], arm["divergence"] = shapely.LineString([head, out, foot]), 1.0, 2
    arm["arbolatesu"], arm["hydroseq"] = 1.0, beside["hydroseq"] - 0.5
    table.loc[len(table)] = arm
    braided = River(table, river.outlets)
    new, old = len(table) - 1, int(beside.name)
    plain, drawn = rows_above(river.network()), braided.network()
    assert {new, old} <= in_rings(drawn)
    assert {new, old} <= set(drawn.piece_drain[drawn.open_both_ways].tolist())
    for row, rows in rows_above(drawn).items():
        if row in plain and row != old:
            assert rows == plain[row] | ({new} if old in plain[row] else set())
    ordered = rows_above(braided.network(by_order=True))
    assert new not in ordered[old] and old not in ordered[new], "by levels both arms run side by side"
    assert ordered[new] - {new} == ordered[old] - {old}
    for row, rows in ordered.items():
        if old in rows and row != old:
            total = braided["lengthkm"][sorted(along_main_branches(braided, rows, row))].sum()
            assert total == pytest.approx(braided["arbolatesu"][row] + 1.0, abs=ROUNDING_KM)
