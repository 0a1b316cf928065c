"""What a plug cuts off: known answers, and taking each pipe away and looking what still gets out."""

from types import SimpleNamespace

import builders as b
import networks
import networkx as nx
import numpy as np
import pytest
from fallkeeper.plugin.county import County
from fallkeeper.plugin.limits import Limits
from fallkeeper.plugin.network.flow import sort_down
from fallkeeper.plugin.network.loss import find_losses
from fallkeeper.plugin.units import Units
from hypothesis import given
from hypothesis import strategies as st
from networks import build

US = Units()
OUTLET = b.outlet(0, 0)


def acres_lost(rows, outlets=(OUTLET,), **options):
    """Acres lost by drain, each of one piece."""
    network = build(rows, outlets, **options)
    acres = County(network, Limits(), US).area_lost_m2 / US.area_m2
    return dict(zip(network.drains.drain_id[network.piece_drain].tolist(), acres.round(4).tolist()))


def a14_rows(a=2.0, c=1.0, e=0.5, d=3.0):
    """O <- 1 <- 2 <- 3; laterals of these acres: one at 1, two at 2, one at 3."""
    def lateral(name, y, acres, side):
        return b.lateral(name, (side * acres * 871.2, y), (0, y))

    return [
        *(b.main(f"M{k}", (0, 1000 * k), (0, 1000 * (k - 1))) for k in (1, 2, 3)),
        lateral("a", 1000, a, 1), lateral("b", 2000, c, 1), lateral("c", 2000, e, -1), lateral("d", 3000, d, 1),
    ]


def test_a14_a_tree():
    assert acres_lost(a14_rows()) == {"M1": 6.5, "M2": 4.5, "M3": 3.0, "a": 2.0, "b": 1.0, "c": 0.5, "d": 3.0}


def test_a_tree_with_other_acres():
    assert acres_lost(a14_rows(0.25, 4.0, 1.5, 2.0)) == {
        "M1": 7.75, "M2": 7.5, "M3": 2.0, "a": 0.25, "b": 4.0, "c": 1.5, "d": 2.0,
    }


def test_a15_another_way_open():
    assert acres_lost(networks.a15_rows()) == {"L": 3.0, "21": 0.0, "2x": 0.0, "x1": 0.0, "1O": 3.0}


def test_a_ring_without_levels_is_another_way_too():
    rows = [dict(row, invert_start=None, invert_end=None) for row in networks.a15_rows()]
    assert acres_lost(rows) == {"L": 3.0, "21": 0.0, "2x": 0.0, "x1": 0.0, "1O": 3.0}


def test_land_on_one_of_two_ways_has_no_other_way():
    rows = [*networks.a15_rows(), b.lateral("E", (50 + 871.2, 150), (50, 150))]
    assert acres_lost(rows) == {"L": 3.0, "21": 0.0, "2x": 0.0, "x1": 1.0, "1O": 4.0, "E": 1.0}


def test_a_split_to_two_outlets_loses_nothing_until_the_pipe_above_it_is_plugged():
    outlets = [b.outlet(400, -100, "O1"), b.outlet(600, -100, "O2")]
    acres = acres_lost(networks.a04_rows(), outlets)
    assert (acres["S1"], acres["S2"], acres["U"]) == (0.0, 0.0, 3.0)


def test_a_system_without_outlet_loses_toward_its_low_end_and_one_without_any_level_is_unknown():
    rows = [dict(row) for row in a14_rows()]
    rows[0].update(role="submain", invert_start=95.1, invert_end=95.0)
    assert acres_lost(rows, ())["M1"] == 6.5
    rows[0].update(invert_start=None, invert_end=None)
    network = build([dict(row, role="lateral") for row in rows])
    assert np.isnan(County(network, Limits(), US).area_lost_m2).all()


def test_pipe_that_leads_on_from_an_outlet_loses_only_what_joins_it():
    rows = [b.main("M", (0, 0), (0, 300), invert_start=95.0, invert_end=95.3),
            b.lateral("L1", (0, 100), (871.2, 100)), b.lateral("L2", (0, 200), (871.2, 200))]
    network = build(rows, [b.outlet(0, 0, "O1"), b.outlet(0, 150, "O2")])
    lost = County(network, Limits(), US).area_lost_m2 / US.area_m2
    by_place = {round(float(a) / b.FT): round(float(v), 6) for a, v in zip(network.pieces.from_m, lost)
                if a > 0 or v == 1.0}
    assert by_place[150] == 1.0, "the stretch above O2 carries L2 alone"


NODES = 9
pairs = st.lists(
    st.tuples(st.integers(0, NODES - 1), st.integers(0, NODES - 1), st.booleans()).filter(lambda p: p[0] != p[1]),
    min_size=1, max_size=18,
)


def without_circles(edges):
    """Open edges join nodes into pools; one-way edges stay only where they lead on to a later pool."""
    pool = nx.utils.UnionFind(range(NODES))
    for u, v, is_open in edges:
        if is_open:
            pool.union(u, v)
    first = {root: min(nodes) for nodes in pool.to_sets() for root in nodes}
    turned = [edge if first[edge[0]] <= first[edge[1]] else (edge[1], edge[0], edge[2]) for edge in edges]
    return [edge for edge in turned if edge[2] or first[edge[0]] < first[edge[1]]]


def stand_in(edges, outlets):
    """The parts of a network that tell of flow: each edge leads from its first node to its second or is open."""
    up, low = np.array([edge[:2] for edge in edges]).T
    open_ = np.array([edge[2] for edge in edges])
    graph = nx.Graph(zip(up.tolist(), low.tolist()))
    graph.add_nodes_from(range(NODES))
    component = np.zeros(NODES, dtype=np.int64)
    for number, nodes in enumerate(nx.connected_components(graph)):
        component[list(nodes)] = number
    direction = np.where(open_, 0, 1)
    outlet = np.array(sorted(outlets), dtype=np.int64)
    down = sort_down(up, low, direction, open_, NODES, np.full(len(up), np.nan), outlet)
    net = SimpleNamespace(
        node_up=up, node_down=low, direction=direction, open_both_ways=open_, nodes=range(NODES), component=component,
        outlets=SimpleNamespace(node=outlet), pieces=SimpleNamespace(node_from=up),
    )
    return net, down


def gets_out(edges, ends, own, gone):
    """Own figures of all pieces but `gone` from whose lower end (either end of an open one) an end is reached."""
    graph = nx.DiGraph()
    graph.add_nodes_from(range(NODES))
    kept = [(k, u, v, is_open) for k, (u, v, is_open) in enumerate(edges) if k != gone]
    graph.add_edges_from((u, v) for _, u, v, _ in kept)
    graph.add_edges_from((v, u) for _, u, v, is_open in kept if is_open)
    out = set().union(*({end, *nx.ancestors(graph, end)} for end in ends))
    return sum(own[k] for k, u, v, is_open in kept if v in out or (is_open and u in out))


@given(pairs, st.sets(st.integers(0, NODES - 1), max_size=3), st.data())
def test_what_a_plug_loses_is_what_gets_out_no_more_when_the_pipe_is_gone(edges, outlets, data):
    edges = without_circles(edges)
    if not edges:
        return
    net, down = stand_in(edges, outlets)
    own = np.array(data.draw(st.lists(st.integers(0, 50), min_size=len(edges), max_size=len(edges))), dtype=float)
    pools = nx.Graph(pair[:2] for pair in edges if pair[2])
    pools.add_nodes_from(range(NODES))
    ends = set(outlets)
    for pool in nx.connected_components(pools):
        if not any(u in pool and v not in pool for u, v, is_open in edges if not is_open):
            ends |= pool  # nothing leads on from there
    lost = find_losses(net, down).lost(own)
    everything = gets_out(edges, ends, own, None)
    for k in range(len(edges)):
        assert lost[k] == pytest.approx(everything - gets_out(edges, ends, own, k)), f"piece {k}"
