import numpy as np
import pytest
from fallkeeper.plugin.report.axes import Frame, decimals, round_step, show_exaggeration, station_label, ticks
from fallkeeper.plugin.units import FOOT_M, METRIC, Units

FRAME = Frame(left=100, top=50, right=900, bottom=450, x_from_m=0, x_to_m=400, y_from_m=200, y_to_m=204)


def test_known_points_and_exaggeration():
    assert FRAME.x(0) == 100 and FRAME.x(400) == 900 and FRAME.x(100) == 300
    assert FRAME.y(200) == 450 and FRAME.y(204) == 50 and FRAME.y(201) == 350
    assert FRAME.exaggeration == pytest.approx((400 / 4) / (800 / 400))
    assert show_exaggeration(FRAME) == "50"


def test_steps_are_round_and_few_enough():
    assert [round_step(span, 7) for span in (7, 7.1, 30, 60, 0.5)] == [1, 2, 5, 10, 0.1]
    places, step = ticks(0.0, 500 * FOOT_M, FOOT_M, 9)
    assert step == 100 and np.allclose(places, [0, 100, 200, 300, 400, 500])


def test_labels_tell_neighbouring_ticks_apart():
    assert [decimals(step) for step in (0.05, 0.2, 1, 50)] == [2, 1, 0, 0]
    assert station_label(850, 50, Units()) == "8+50"
    assert station_label(2.5, 0.5, Units(METRIC)) == "2.5"
