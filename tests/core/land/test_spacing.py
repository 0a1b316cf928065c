"""The spacing of pipes whose spacing nobody stated: that of their parallel neighbours, else the default."""

import numpy as np
import pytest
from builders import FT, drains, lateral, main, pipe
from fallkeeper.plugin.land.served import served_land
from fallkeeper.plugin.limits import Limits
from fallkeeper.plugin.network.lines import explode


def spacing_feet(*rows):
    layer = drains(*rows)
    lines, _ = explode(layer.geometry)
    served = served_land(lines, layer, Limits(), np.ones(len(lines), dtype=bool))
    return served.spacing_m / FT, served.spacing_source.tolist(), served.spacing_assumed.tolist()


def unmeasured(key, *points):
    return lateral(key, *points, spacing=None)


def test_a_lateral_between_two_others_has_their_distance():
    rows = [unmeasured(f"L{y}", (0, y), (600, y)) for y in (0, 40, 80, 120)]
    spacing, source, assumed = spacing_feet(*rows)
    assert spacing == pytest.approx([40, 40, 40, 40])
    assert source == ["neighbours"] * 4
    assert assumed == [True] * 4


def test_a_lateral_with_a_missing_neighbour_has_the_median_of_both_sides():
    rows = [unmeasured("L", (0, 0), (600, 0)), lateral("N", (600, 50), (0, 50)), lateral("S", (0, -100), (600, -100))]
    spacing, source, _ = spacing_feet(*rows)
    assert spacing[0] == pytest.approx(75)
    assert source == ["neighbours", "stated", "stated"]


@pytest.mark.parametrize("neighbour", [
    lateral("far", (0, 130), (600, 130)),
    lateral("not abeam", (700, 40), (1300, 40)),
    lateral("at right angles", (300, 10), (300, 600)),
    main("serves nothing", (0, 40), (600, 40)),
], ids=lambda row: row["drain_id"])
def test_without_a_parallel_neighbour_the_default_holds_and_is_marked(neighbour):
    spacing, source, assumed = spacing_feet(unmeasured("L", (0, 0), (600, 0)), neighbour)
    assert spacing[0] == pytest.approx(50)
    assert (source[0], assumed[0]) == ("default", True)


def test_a_neighbour_up_to_fifteen_degrees_off_counts():
    spacing, source, _ = spacing_feet(unmeasured("L", (0, 0), (600, 0)), lateral("N", (0, -30), (600, 110)))
    assert source[0] == "neighbours"
    assert spacing[0] < 50


def test_mains_and_pipes_of_unknown_role_are_given_no_spacing():
    spacing, source, _ = spacing_feet(main("M", (0, 0), (600, 0)), pipe("?", (0, 40), (600, 40)))
    assert np.isnan(spacing).all()
    assert source == ["", ""]


def test_a_spacing_of_zero_is_not_stated():
    rows = [lateral("L", (0, 0), (600, 0), spacing=0.0), main("M", (0, 40), (600, 40), spacing=0.0)]
    spacing, source, _ = spacing_feet(*rows)
    assert spacing[0] == pytest.approx(50)
    assert source == ["default", ""]
