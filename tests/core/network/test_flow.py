"""Sums taken down the network: every figure counted once, shared where water parts. Figures in feet and acres."""

import builders as b
import networks
import networkx as nx
import numpy as np
import pytest
from fallkeeper.plugin.county import County
from fallkeeper.plugin.limits import Limits
from fallkeeper.plugin.network.flow import sort_down
from fallkeeper.plugin.units import Units
from hypothesis import given
from hypothesis import strategies as st
from networks import build

OUTLET = b.outlet(0, 0)
BOTH = [b.outlet(400, -100, "O1"), b.outlet(600, -100, "O2")]
US = Units()
NO_OUTLET = np.zeros(0, dtype=np.int64)


def county_of(network):
    return County(network, Limits(), US)


def acres_above(network):
    """Acres above the foot of every drain of one piece."""
    acres = county_of(network).area_above_m2 / US.area_m2
    return dict(zip(network.drains.drain_id[network.piece_drain].tolist(), acres.round(4).tolist()))


def acres_at_outlets(network):
    county = county_of(network)
    arrived = county.down.in_pools(county.down.sum_down(county.piece_area_m2), county.piece_area_m2)
    acres = arrived[county.down.pool[network.outlets.node]] / US.area_m2
    ids = network.structures.structure_id[network.outlets.structure]
    return dict(zip(ids.tolist(), acres.round(4).tolist()))


def test_a01_acres_and_lengths():
    network = build(networks.a01_rows(), [OUTLET])
    assert acres_above(network) == {"M1": 3.5, "M2": 2.5, "M3": 0.5, "L1": 1.0, "L2": 1.0, "L3": 1.0, "L4": 0.5}
    assert acres_at_outlets(network) == {"O": 3.5}
    county = county_of(network)
    lengths = dict(zip(network.drains.drain_id[network.piece_drain], county.length_above_m / b.FT))
    assert lengths["M1"] == pytest.approx(300 + 3 * 871.2 + 435.6)
    assert lengths["M2"] == pytest.approx(200 + 2 * 871.2 + 435.6), "what joins at its lower end is not counted"


def test_a04_a_split_shares_and_the_outlets_together_get_what_was_put_in():
    network = build(networks.a04_rows(), BOTH)
    assert acres_above(network) | {"AB": 0, "BC": 0, "CA": 0} == {
        "AB": 0, "BC": 0, "CA": 0, "S1": 1.5, "S2": 1.5, "U": 3.0,
    }
    assert acres_at_outlets(network) == {"O1": 1.5, "O2": 1.5}


def test_a_split_is_shared_by_full_flow_capacity_where_sizes_are_known():
    """12 in against 6 in of one kind and grade: full-flow capacity goes with the 8/3 power of the diameter."""
    rows = networks.a04_rows()
    for row in rows:
        if row["drain_id"] in ("S1", "S2"):
            row.update(material="clay", diameter=12.0 if row["drain_id"] == "S1" else 6.0)
    network = build(rows, BOTH)
    acres = acres_at_outlets(network)
    assert acres["O1"] / acres["O2"] == pytest.approx(2 ** (8 / 3), rel=1e-3)
    assert acres["O1"] + acres["O2"] == pytest.approx(3.0)


@pytest.mark.parametrize("lacking", ["diameter", "invert_end"])
def test_where_one_size_or_fall_is_unknown_the_split_is_shared_equally(lacking):
    rows = networks.a04_rows()
    for row in rows:
        if row["drain_id"] in ("S1", "S2"):
            row.update(material="clay", diameter=12.0 if row["drain_id"] == "S1" else 6.0)
        if row["drain_id"] == "S2":
            row[lacking] = None
    assert acres_at_outlets(build(rows, BOTH)) == {"O1": 1.5, "O2": 1.5}


def test_a15_both_ways_round_carry_half_and_the_foot_carries_all():
    acres = acres_above(build(networks.a15_rows(), [OUTLET]))
    assert acres == {"L": 3.0, "21": 1.5, "2x": 1.5, "x1": 1.5, "1O": 3.0}


def test_a_ring_open_both_ways_has_all_of_its_water_and_passes_it_on_once():
    rows = networks.a15_rows()
    for row in rows:
        row["invert_start"] = row["invert_end"] = None
    network = build(rows, [OUTLET])
    assert acres_above(network) == {"L": 3.0, "21": 3.0, "2x": 3.0, "x1": 3.0, "1O": 3.0}
    assert acres_at_outlets(network) == {"O": 3.0}


def test_where_the_flow_is_unknown_so_are_the_sums():
    network = build([b.lateral("P", (0, 0), (0, 100)), b.lateral("Q", (90, 100), (0, 100))])
    county = county_of(network)
    assert np.isnan(county.area_above_m2).all()
    assert np.isnan(county.length_above_m).all()


def test_water_that_reaches_an_outlet_leaves_there_though_pipe_leads_on():
    """O2 stands at (0, 150) of a main that falls on to O1: what comes from above is not counted at both."""
    rows = [b.main("M", (0, 0), (0, 300), invert_start=95.0, invert_end=95.3),
            b.lateral("L1", (0, 100), (871.2, 100)), b.lateral("L2", (0, 200), (871.2, 200)),
            b.lateral("L3", (0, 250), (871.2, 250))]
    network = build(rows, [b.outlet(0, 0, "O1"), b.outlet(0, 150, "O2")])
    assert acres_at_outlets(network) == {"O1": 1.0, "O2": 2.0}


def test_nothing_put_in_is_lost_between_many_outlets_without_levels():
    laterals = [b.lateral(f"L{k}", (0, 50 * k + 20), (871.2, 50 * k + 20)) for k in range(20)]
    rows = [b.main("M", (0, 0), (0, 1000)), *laterals]
    outlets = [b.outlet(0, y, f"O{y}") for y in (0, 300, 700, 1000)]
    assert sum(acres_at_outlets(build(rows, outlets)).values()) == pytest.approx(20.0)


two_nodes = st.tuples(st.integers(0, 11), st.integers(0, 11)).filter(lambda edge: edge[0] != edge[1])
edges = st.lists(two_nodes, min_size=1, max_size=25)


@given(edges, st.data())
def test_sums_in_any_network_of_one_way_pipes_are_those_of_a_walk_over_the_graph(pairs, data):
    """Nodes are numbered from the top down, so no way leads round; drawing direction is anything."""
    up = np.array([min(pair) for pair in pairs])
    down = np.array([max(pair) for pair in pairs])
    drawn_down = np.array(data.draw(st.lists(st.booleans(), min_size=len(pairs), max_size=len(pairs))))
    own = np.array(data.draw(st.lists(st.integers(0, 9), min_size=len(pairs), max_size=len(pairs))), dtype=float)
    sorted_ = sort_down(
        np.where(drawn_down, up, down), np.where(drawn_down, down, up), np.where(drawn_down, 1, -1),
        np.zeros(len(pairs), dtype=bool), 12, np.full(len(pairs), np.nan), NO_OUTLET,
    )
    graph = nx.MultiDiGraph()
    graph.add_nodes_from(range(12))
    for k, (u, v) in enumerate(zip(up.tolist(), down.tolist())):
        graph.add_edge(u, v, piece=k)
    through = dict.fromkeys(range(12), 0.0)
    expected = own.copy()
    for node in nx.topological_sort(graph):
        for _, below, k in graph.out_edges(node, data="piece"):
            expected[k] += through[node] / graph.out_degree(node)
            through[below] += expected[k]
    total = sorted_.sum_down(own)
    assert total == pytest.approx(expected)
    arrived = sorted_.in_pools(total, own)
    assert sum(arrived[n] for n in range(12) if not graph.out_degree(n)) == pytest.approx(own.sum())


@given(st.lists(st.integers(0, 10**6), min_size=1, max_size=40), st.data())
def test_sums_in_any_tree_are_those_of_everything_above(parents, data):
    """Pipe k leads from node k + 1 to a node drawn before it; pipe and what is above it is counted by networkx."""
    below = np.array([p % (k + 1) for k, p in enumerate(parents)])
    node = np.arange(1, len(below) + 1)
    own = np.array(data.draw(st.lists(st.integers(0, 9), min_size=len(below), max_size=len(below))), dtype=float)
    order = np.array(data.draw(st.permutations(range(len(below)))))
    sorted_ = sort_down(
        node[order], below[order], np.ones(len(below), dtype=np.int8), np.zeros(len(below), dtype=bool),
        len(below) + 1, np.full(len(below), np.nan), NO_OUTLET,
    )
    tree = nx.DiGraph(zip(node.tolist(), below.tolist()))
    expected = [own[k - 1] + sum(own[n - 1] for n in nx.ancestors(tree, k)) for k in node[order].tolist()]
    assert sorted_.sum_down(own[order]) == pytest.approx(expected)


rings = st.lists(st.tuples(st.integers(0, 7), st.integers(0, 7), st.booleans()), min_size=1, max_size=14)


@given(rings)
def test_with_rings_open_both_ways_nothing_is_lost_or_counted_twice(pairs):
    """Open pieces join nodes into pools; one-way pieces lead down between pools."""
    open_ = [(u, v) for u, v, is_open in pairs if is_open]
    pool = nx.utils.UnionFind(range(8))
    for u, v in open_:
        pool.union(u, v)
    root = [pool[n] for n in range(8)]
    one_way = [(u, v) for u, v, is_open in pairs if not is_open and root[u] < root[v]]
    ends = np.array(open_ + one_way, dtype=np.int64).reshape(-1, 2)
    if not len(ends):
        return
    is_open = np.arange(len(ends)) < len(open_)
    unknown = np.full(len(ends), np.nan)
    sorted_ = sort_down(ends[:, 0], ends[:, 1], np.where(is_open, 0, 1), is_open, 8, unknown, NO_OUTLET)
    own = np.arange(1.0, len(ends) + 1)
    arrived = sorted_.in_pools(sorted_.sum_down(own), own)
    leaves = set(range(sorted_.pool_count)) - set(sorted_.up.tolist())
    assert arrived[sorted(leaves)].sum() == pytest.approx(own.sum())
