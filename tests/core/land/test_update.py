"""Land shared out again after an edit is the land shared out as a whole, and only pipes in reach are asked. In feet."""

import builders as b
import edits
import numpy as np
import pytest
from equality import assert_same_land
from fallkeeper.plugin.land import update as land_update
from fallkeeper.plugin.land.served import served_land
from fallkeeper.plugin.limits import Limits
from fallkeeper.plugin.network import update
from fallkeeper.plugin.network.build import build_network
from hypothesis import given, settings
from hypothesis import strategies as st

LATERALS = [b.lateral(f"L{k}", (0, 60 * k), (400, 60 * k), spacing=None) for k in range(40)]


def land(network):
    return served_land(network.lines, network.drains, Limits(), network.active)


def again(before, after):
    """The land of rows `before`, brought up to date with rows `after` and compared with all of it done anew; and how
    many lines were looked at."""
    old = build_network(b.drains(*before))
    now = update.update_network(old, b.drains(*after))
    measured = []
    with pytest.MonkeyPatch.context() as patch:
        widths = land_update.widths
        patch.setattr(land_update, "widths", lambda lines, *more: measured.append(len(lines)) or widths(lines, *more))
        net = now.network
        found = land_update.update_served(land(old), net.lines, net.drains, Limits(), net.active, now.line_before)
    assert_same_land(found, land(net))
    return sum(measured)


@settings(max_examples=60, deadline=None)
@given(st.lists(edits.drain, min_size=4, max_size=14), st.data())
def test_after_any_edits_the_land_is_the_one_shared_out_as_a_whole(drains, data):
    rows = {"drains": drains, "structures": [], "shots": []}
    for _ in range(data.draw(st.integers(1, 3))):
        rows = edits.edited(data.draw, rows)
    again(drains, rows["drains"])


@pytest.mark.parametrize(("row", "looked_at"), [
    (LATERALS[20], 0),
    (b.lateral("L20", (0, 1200), (400, 1200), spacing=None, diameter=6.0), 5),
    (b.lateral("L20", (0, 1200), (400, 1200), spacing=30.0), 5),
    (b.lateral("L20", (0, 1210), (400, 1210), spacing=None), 7),
    (b.lateral("L20", (0, 1200), (400, 1200), spacing=None, status="removed"), 6),
])
def test_only_pipes_whose_strips_meet_those_that_changed_are_measured(row, looked_at):
    """Those lie next to it, and are measured against those beyond them."""
    assert again(LATERALS, [*LATERALS[:20], row, *LATERALS[21:]]) == looked_at


def test_a_change_of_a_spacing_by_neighbours_reaches_the_land_beyond_them():
    """With the pipe between them gone, two neighbours see farther, and their strips reach their own neighbours."""
    rows = [row for row in LATERALS if row["drain_id"] not in ("L20",)]
    assert 0 < again(LATERALS, rows) < 15


def test_nothing_serves_and_nothing_is_there():
    mains = [b.main("M", (0, 0), (0, 300))]
    again(mains, [*mains, b.main("N", (50, 0), (50, 300))])
    again([], LATERALS[:3])
    again(LATERALS[:3], [])


def test_a_duplicate_that_goes_gives_the_land_to_the_line_below():
    twice = [*LATERALS[:6], b.lateral("D", (0, 120), (400, 120), spacing=None)]
    again(twice, [row for row in twice if row["drain_id"] != "L2"])
    again(twice, twice[:6])


def test_widths_are_compared_in_full():
    """The comparison itself sees a width that is a hand's breadth off."""
    found, wrong = land(build_network(b.drains(*LATERALS))), land(build_network(b.drains(*LATERALS)))
    wrong.left_m[5] += 0.1
    assert np.isfinite(found.left_m).all()
    with pytest.raises(AssertionError):
        assert_same_land(found, wrong)
