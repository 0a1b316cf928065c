"""Systems whose only outlet lies at the high end of their main. Figures in feet."""

import builders as b
import networks
import pytest
from fallkeeper.plugin.limits import Limits
from fallkeeper.plugin.network.contradiction import contradicted
from networks import build, ids_of_lines

OUTLET = b.outlet(0, 0)


def lines_of(network):
    return set(ids_of_lines(network, contradicted(network, Limits()).line))


def main(low, high, error=0.01, **fields):
    """300 ft of main from the outlet up, inverts at outlet and far end."""
    return b.main("M", (0, 0), (0, 300), invert_start=low, invert_end=high, invert_error=error, **fields)


def test_a02_falling_to_the_outlet_contradicts_nothing():
    assert lines_of(build(networks.a01_rows(upward=True, inverts=(95.0, 95.1, 95.2, 95.3)), [OUTLET])) == set()


@pytest.mark.parametrize("upward", [False, True])
def test_a02_the_only_outlet_at_the_high_end(upward):
    network = build(networks.a01_rows(upward=upward, inverts=(95.3, 95.2, 95.1, 95.0)), [OUTLET])
    found = contradicted(network, Limits())
    assert set(ids_of_lines(network, found.line)) == {"M1", "M2", "M3"}
    assert found.rise_m / b.FT == pytest.approx([0.3, 0.3, 0.3])
    assert (found.probability > 0.999).all()


def test_a_rise_within_the_errors_is_none():
    """A07: a rise of 0.05 ft between inverts of 0.03 ft: P 0.881, which cannot tell."""
    assert lines_of(build([main(95.05, 95.0, error=0.03)], [OUTLET])) == set()
    assert lines_of(build([main(95.125, 95.0, error=0.03)], [OUTLET])) == {"M"}, "P 0.998"


def test_a_local_rise_is_a_fault_of_the_grade_not_of_the_outlet():
    """A06: reverse between 200 and 300, but the far end lies above the outlet."""
    inverts = (95.00, 95.10, 95.25, 95.20)
    assert lines_of(build(networks.a01_rows(inverts=inverts), [OUTLET])) == set()


def test_without_inverts_at_both_ends_nothing_is_said():
    for inverts in ((None, 95.0), (95.3, None), (None, None)):
        assert lines_of(build([main(*inverts)], [OUTLET])) == set()


def test_the_farthest_place_with_a_known_invert_counts():
    rows = networks.a01_rows(upward=True, inverts=(95.3, 95.2, 95.1, 95.0))
    rows[2].update(invert_start=None, invert_end=None)
    assert lines_of(build(rows, [OUTLET])) == {"M1", "M2"}


def test_laterals_do_not_speak_for_the_main():
    deep = b.lateral("L", (0, 200), (400, 200), invert_start=94.0, invert_end=93.0)
    assert lines_of(build([main(95.0, 95.3), deep], [OUTLET])) == set()


def test_without_mains_any_pipe_speaks():
    rows = [b.pipe("P", (0, 0), (0, 300), invert_start=95.3, invert_end=95.0, invert_error=0.01)]
    assert lines_of(build(rows, [OUTLET])) == {"P"}


def test_with_two_outlets_the_inverts_decided_already():
    assert lines_of(build([main(95.3, 95.0)], [OUTLET, b.outlet(0, 300, "O2")])) == set()


def test_systems_are_judged_one_by_one():
    good = b.main("N", (900, 0), (900, 300), invert_start=95.0, invert_end=95.3, invert_error=0.01)
    network = build([main(95.3, 95.0), good], [OUTLET, b.outlet(900, 0, "O2")])
    found = contradicted(network, Limits())
    assert ids_of_lines(network, found.line) == ["M"]
    assert network.structures.structure_id[
        network.outlets.structure[network.outlets.node == found.outlet_node[0]]
    ].tolist() == ["O"]


def test_of_two_pipes_between_the_same_joints_the_way_is_as_long_as_one():
    """A doubled stretch of main must not make its own branch look farther than the longer one."""
    def leg(name, *points, z):
        return b.main(name, *points, invert_start=z[0], invert_end=z[1], invert_error=0.01)

    rows = [
        leg("M", (0, 0), (0, 100), z=(95.0, 95.1)),
        leg("d1", (0, 100), (-9, 150), (0, 200), z=(95.1, 94.5)),
        leg("d2", (0, 100), (9, 150), (0, 200), z=(95.1, 94.5)),
        leg("far", (0, 100), (150, 100), z=(95.1, 95.3)),
    ]
    assert lines_of(build(rows, [OUTLET])) == set(), "the far end of the longest way lies above the outlet"


def test_without_any_outlet_there_is_nothing_to_contradict():
    assert lines_of(build(networks.a04_rows())) == set()
    assert lines_of(build([])) == set()
