"""The packed index: SQLite finds it sound and finds with it what lies in a window, no row missed, none too many."""

import sqlite3
from contextlib import closing

import numpy as np
import pytest
from fallkeeper.plugin.qgis_layer.spatial_index import outward, pack
from hypothesis import given
from hypothesis import strategies as st

NODE_BYTES = 1228  # SQLite's own for two dimensions on pages of 4096 bytes


def indexed(file, rows, boxes):
    file.execute("CREATE VIRTUAL TABLE boxes USING rtree(id, minx, maxx, miny, maxy)")
    assert file.execute("SELECT length(data) FROM boxes_node").fetchall() == [(NODE_BYTES,)]
    packed = pack(rows, outward(boxes), NODE_BYTES)
    file.execute("DELETE FROM boxes_node")
    file.executemany("INSERT INTO boxes_node VALUES (?, ?)", list(enumerate(packed.nodes, 1)))
    file.executemany("INSERT INTO boxes_parent VALUES (?, ?)", list(enumerate(packed.above.tolist(), 1))[1:])
    file.executemany("INSERT INTO boxes_rowid VALUES (?, ?)", list(zip(rows.tolist(), packed.node_of_row.tolist())))


def inside(file, window):
    west, south, east, north = window
    found = file.execute(
        "SELECT id FROM boxes WHERE maxx >= ? AND minx <= ? AND maxy >= ? AND miny <= ?", (west, east, south, north)
    )
    return {row for (row,) in found}


def made(count, seed, spread=3e4):
    random = np.random.default_rng(seed)
    low = random.uniform(0, spread, (count, 2)) + (3e5, 4.56e6)
    rows = np.sort(random.choice(10 * count + 1, count, replace=False)) + 1
    return rows, np.hstack([low, low + random.exponential(200, (count, 2))])


@pytest.mark.parametrize("count", (0, 1, 50, 51, 52, 2600, 2602, 60_000))
def test_sqlite_finds_the_index_sound(count):
    with closing(sqlite3.connect(":memory:")) as file:
        indexed(file, *made(count, count))
        assert file.execute("SELECT rtreecheck('boxes')").fetchone() == ("ok",)
        assert file.execute("SELECT count(*) FROM boxes").fetchone() == (count,)


@given(st.integers(1, 400), st.integers(0, 10_000), st.floats(0, 1), st.floats(0, 1), st.floats(1, 20_000))
def test_a_window_finds_every_row_that_meets_it(count, seed, x, y, size):
    rows, boxes = made(count, seed)
    west, south = 3e5 + 3e4 * x, 4.56e6 + 3e4 * y
    window = (west, south, west + size, south + size)
    # the index keeps half the digits: a metre at 4,560,000 is sure
    meets = (boxes[:, 2] >= window[0]) & (boxes[:, 0] <= window[2])
    meets &= (boxes[:, 3] >= window[1]) & (boxes[:, 1] <= window[3])
    near = (boxes[:, 2] >= window[0] - 1) & (boxes[:, 0] <= window[2] + 1)
    near &= (boxes[:, 3] >= window[1] - 1) & (boxes[:, 1] <= window[3] + 1)
    with closing(sqlite3.connect(":memory:")) as file:
        indexed(file, rows, boxes)
        found = inside(file, window)
    assert set(rows[meets].tolist()) <= found <= set(rows[near].tolist())


def test_rows_may_be_taken_out_and_added_afterwards():
    rows, boxes = made(5_000, 7)
    with closing(sqlite3.connect(":memory:")) as file:
        indexed(file, rows, boxes)
        file.executemany("DELETE FROM boxes WHERE id = ?", [(int(row),) for row in rows[::2]])
        more = range(100_000, 103_000)
        file.executemany("INSERT INTO boxes VALUES (?, 300000, 300010, 4560000, 4560010)", [(row,) for row in more])
        assert file.execute("SELECT rtreecheck('boxes')").fetchone() == ("ok",)
        assert file.execute("SELECT count(*) FROM boxes").fetchone() == (2_500 + 3_000,)


def test_a_small_window_looks_into_few_nodes():
    """Worth having: tiles of 60,000 pipes do not lie across one another."""
    rows, boxes = made(60_000, 3)
    packed = pack(rows, outward(boxes), NODE_BYTES)
    middle = (boxes[:, :2] + boxes[:, 2:]) / 2
    near = (np.abs(middle - (3.15e5, 4.575e6)) < 500).all(axis=1)
    assert near.sum() > 50
    assert len(np.unique(packed.node_of_row[near])) < 0.01 * len(packed.nodes)
