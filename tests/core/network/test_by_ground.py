"""Flow by the ground where a system has neither outlet nor inverts."""

import builders as b
import numpy as np
from fallkeeper.plugin.elevation.evidence import Evidence
from fallkeeper.plugin.elevation.ground import sample_lines
from fallkeeper.plugin.limits import Limits
from fallkeeper.plugin.network.build import build_network
from fallkeeper.plugin.network.by_ground import flow_by_ground


def by_ground(rows, slope_by_y, structures=()):
    """The network of `rows` after asking a ground that rises by `slope_by_y` along y."""
    network = build_network(b.drains(*rows), b.structures(*structures))
    ground = sample_lines(network.lines, lambda x, y: 200.0 + slope_by_y * y, 5.0, network.active)
    evidence = Evidence(network.lines, network.drains, network.levels.points, ground, Limits())
    return network, flow_by_ground(network, evidence)


def comb(**fields):
    return [b.main("M", (0, 0), (0, 300), **fields), b.lateral("L1", (0, 100), (200, 100)),
            b.lateral("L2", (-200, 250), (0, 250))]


def directions(network, drain_id):
    return network.direction[network.drains.drain_id[network.piece_drain] == drain_id].tolist()


def test_flows_to_the_low_end_of_the_ground():
    before, after = by_ground(comb(), 0.001)
    assert set(before.direction.tolist()) == {0}
    assert directions(after, "M") == [-1, -1, -1]
    assert directions(after, "L1") == [-1]
    assert directions(after, "L2") == [1]


def test_turns_with_the_ground():
    _, after = by_ground(comb(), -0.001)
    assert directions(after, "M") == [1, 1, 1]


def test_inverts_go_before_the_ground():
    rows = comb(invert_start=90.0, invert_end=91.0)
    before, after = by_ground(rows, -0.001)
    assert after is before
    assert directions(after, "M") == [-1, -1, -1]


def test_outlet_goes_before_the_ground():
    before, after = by_ground(comb(), 0.001, [b.outlet(0, 300)])
    assert after is before
    assert directions(after, "M") == [1, 1, 1]


def test_pipes_on_either_side_of_a_ring_each_flow_down():
    ring = [b.pipe("R1", (0, 0), (90, 0)), b.pipe("R2", (90, 0), (45, 60)), b.pipe("R3", (45, 60), (0, 0))]
    _, after = by_ground([*ring, b.lateral("up", (45, 60), (45, 200)), b.lateral("down", (0, 0), (0, -150))], 0.001)
    assert directions(after, "up") == [-1]
    assert directions(after, "down") == [1]
    assert after.open_both_ways.sum() == 3


def test_missing_ground_tells_nothing():
    network = build_network(b.drains(*comb()))
    ground = sample_lines(network.lines, lambda x, y: np.full(len(x), np.nan), 5.0, network.active)
    evidence = Evidence(network.lines, network.drains, network.levels.points, ground, Limits())
    assert set(flow_by_ground(network, evidence).direction.tolist()) == {0}
