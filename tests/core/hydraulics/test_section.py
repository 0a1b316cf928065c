import numpy as np
import pytest
from fallkeeper.plugin.hydraulics.section import filled_share


@pytest.mark.parametrize(
    ("water_in", "share", "tolerance"),
    [(1, 0.1955, 0.002), (2, 0.5, 0.001)],  # a 4 in pipe, plane geometry
)
def test_share_of_the_section_that_holds_standing_water(water_in, share, tolerance):
    assert filled_share(water_in, 4) == pytest.approx(share, rel=tolerance)


def test_an_empty_a_full_and_an_unknown_pipe():
    share = filled_share(np.array([0.0, 0.1, 0.3, np.nan]), np.array([0.1, 0.1, 0.1, 0.1]))
    assert share[:3] == pytest.approx([0.0, 1.0, 1.0])
    assert np.isnan(share[3])
