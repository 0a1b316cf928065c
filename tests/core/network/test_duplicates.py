"""Lines that are drawn twice, and lines that only look like it. Figures in feet."""

import builders as b
import numpy as np
import pytest
from networks import FIVE_FT, build, drains_of, ids_of_lines

OUTLET = b.outlet(0, 0)
MAIN = b.main("M", (0, 0), (0, 300))


def duplicates(network):
    """(drain that carries nothing, drain it lies on, share of its length to 1 %)."""
    twice = network.duplicates
    lying, on = ids_of_lines(network, twice.line), ids_of_lines(network, twice.of)
    return [(a, o, round(float(share), 2)) for a, o, share in zip(lying, on, twice.share)]


def found(*rows, tolerance_m=b.FT):
    network = build([MAIN, *rows], [OUTLET], tolerance_m=tolerance_m)
    return duplicates(network)


def test_of_a_line_drawn_twice_the_first_stays():
    for again in ([(0, 0), (0, 300)], [(0, 300), (0, 0)], [(0, 0), (0, 90), (0, 300)]):
        network = build([MAIN, b.main("N", *again), b.lateral("L", (80, 50), (0, 50))], [OUTLET])
        assert duplicates(network) == [("N", "M", 1.0)]
        assert drains_of(network, slice(None)) == {"M", "L"}
        assert not len(network.crossings)
        assert (network.flow.loop < 0).all(), "a line drawn twice is no ring"


def test_of_three_drawings_one_stays():
    network = build([MAIN, b.main("N", (0, 300), (0, 0)), b.main("O", (0, 0), (0, 300))], [OUTLET])
    assert {line for line, *_ in duplicates(network)} == {"N", "O"}
    assert drains_of(network, slice(None)) == {"M"}


def test_beside_each_other_within_the_tolerance():
    lateral, near = b.lateral("L", (0, 50), (-871.2, 50)), b.lateral("N", (0, 52), (-871.2, 52))
    assert found(lateral, near, tolerance_m=FIVE_FT) == [("N", "L", 1.0)]
    assert found(lateral, near, tolerance_m=1.9 * b.FT) == []


def test_a_shorter_line_on_a_longer_one_goes_whichever_was_drawn_first():
    """The short one runs 150 ft on the long one and then leaves it square, 15 ft long."""
    short = b.lateral("L", (0, 20), (0, 170), (15, 170))
    for rows in ([MAIN, short], [short, MAIN]):
        assert duplicates(build(rows, [OUTLET])) == [("L", "M", pytest.approx(150 / 165, abs=0.02))]


@pytest.mark.parametrize(("covered", "is_duplicate"), [(30, False), (48, False), (53, True), (70, True)])
def test_lying_on_another_for_more_than_half_its_length(covered, is_duplicate):
    """100 ft: the first on the main, the rest square to it."""
    line = b.lateral("L", (0, 100), (0, 100 + covered), (100 - covered, 100 + covered))
    assert bool(found(line)) == is_duplicate


def test_the_middle_on_another_line_counts_like_an_end():
    line = b.lateral("L", (20, 100), (0, 100), (0, 160), (20, 160))
    assert found(line) == [("L", "M", pytest.approx(0.6, abs=0.03))]


@pytest.mark.parametrize(
    "other",
    [
        b.main("N", (0, 300), (0, 600)),  # goes on from the end
        b.main("N", (0, 300), (0, 300.5)),  # goes on, shorter than the tolerance
        b.main("N", (0, 295), (0, 600)),  # goes on with a short overlap
        b.lateral("N", (0, 50), (100, 50)),  # joins square
        b.lateral("N", (-0.5, 50), (0.5, 50)),  # a stub square across, all of it within the tolerance
        b.lateral("N", (0, 50), (0.8, 50)),  # a stub square to the main
        b.lateral("N", (50, 50), (-50, 60)),  # crosses
        b.main("N", (0, -300), (0, 0)),  # comes from beyond the outlet
        b.main("N", (2, 0), (2, 300)),  # parallel outside the tolerance
    ],
)
def test_no_duplicates(other):
    assert found(other) == []


def test_pipe_that_carries_no_water_is_no_duplicate_and_makes_none():
    """An abandoned run beside its replacement is usual."""
    for status in ("abandoned", "proposed", "removed"):
        assert found(b.main("N", (0, 0), (0, 300), status=status)) == []
        network = build([b.main("N", (0, 0), (0, 300), status=status), MAIN], [OUTLET])
        assert drains_of(network, slice(None)) == {"M"}


def test_two_parts_of_one_drain_that_lie_on_each_other():
    """One part carries nothing; the drain itself stays."""
    import shapely

    twice = shapely.MultiLineString([[(0, 0), (0, 300)], [(0, 0), (0, 300)]])
    network = build([b.main("M", (0, 0), (0, 1)) | {"geometry": twice}], [OUTLET])
    assert len(network.duplicates.line) == 1
    assert network.pieces.length_m.sum() / b.FT == pytest.approx(300)


def test_a_ladder_of_close_laterals_keeps_all_of_them():
    rungs = [b.lateral(f"L{k}", (0, 10 * k), (100, 10 * k)) for k in range(1, 12)]
    assert found(*rungs, tolerance_m=FIVE_FT) == []


def test_shares_are_between_half_and_whole():
    rng = np.random.default_rng(3)
    rows = [b.pipe(f"P{k}", *(tuple(p) for p in rng.uniform(0, 60, (3, 2)))) for k in range(60)]
    network = build(rows, tolerance_m=FIVE_FT)
    assert ((network.duplicates.share > 0.5) & (network.duplicates.share <= 1.0)).all()
