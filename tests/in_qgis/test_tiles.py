"""Tiles of a raster, and to which of them places along lines belong."""

import numpy as np
import pytest
from fallkeeper.plugin.elevation.legs import Legs
from fallkeeper.plugin.qgis_layer.tiles import Tiling
from hypothesis import given
from hypothesis import strategies as st


@given(st.integers(1, 300), st.integers(1, 300), st.integers(1, 80), st.integers(1, 80), st.integers(1, 20_000))
def test_tiles_hold_whole_blocks_and_no_more_cells_than_allowed(width, height, block_width, block_height, most):
    tiling = Tiling.fit(width, height, block_width, block_height, most)
    assert tiling.tile_width * tiling.tile_height <= most
    if min(block_width, width) * min(block_height, height) <= most:
        assert tiling.whole_blocks


@pytest.mark.parametrize(
    ("block", "tile"),
    [
        ((512, 512), (7680, 512)),
        ((256, 256), (7680, 512)),  # as cloud-optimized files have them
        ((31423, 1), (31423, 127)),  # rows
        ((128, 128), (7680, 512)),  # a virtual raster
        ((31423, 200), (31423, 127)),  # a block larger than a tile
    ],
)
def test_tiles_of_a_county(block, tile):
    tiling = Tiling.fit(31423, 30618, *block, 4_000_000)
    assert (tiling.tile_width, tiling.tile_height) == tile


@given(st.data())
def test_every_place_is_in_one_tile_that_has_the_cells_around_it(data):
    width, height = data.draw(st.integers(1, 40)), data.draw(st.integers(1, 40))
    tiling = Tiling(width, height, 4, 3, *data.draw(st.sampled_from([(4, 3), (8, 6), (12, 3), (40, 6), (7, 5)])))
    begin, end = (
        np.array(data.draw(st.lists(st.tuples(st.floats(-0.5, width - 0.5), st.floats(-0.5, height - 0.5)),
                                    min_size=4, max_size=4)))
        for _ in range(2)
    )
    whole = data.draw(st.booleans())  # places on centres of cells and on the seams between tiles
    begin, end = (np.clip(np.rint(xy), 0, (width - 1, height - 1)) if whole else xy for xy in (begin, end))
    count = np.array(data.draw(st.lists(st.integers(1, 30), min_size=4, max_size=4)), dtype=np.int32)
    step = (end - begin) / np.maximum(count - 1, 1)[:, None]
    legs = Legs(np.arange(4, dtype=np.int32), np.cumsum(count) - count, count, *begin.T, *step.T)
    seen = np.zeros(count.sum(), dtype=int)
    x, y = legs.places()
    last = -1
    for tile, part in tiling.places_by_tile(legs):
        number = (tile.left // tiling.tile_width) * height + tile.top // tiling.tile_height
        assert number > last, "tiles go down, then to the right"
        last, sample = number, part.samples()
        seen[sample] += 1
        assert np.column_stack(part.places()) == pytest.approx(np.column_stack([x[sample], y[sample]]), abs=1e-9)
        for at, low, high, more, size in (
            (x[sample], tile.left, tile.right, tile.before, width),
            (y[sample], tile.top, tile.bottom, tile.above, height),
        ):
            at = np.clip(at, 0, size - 1)
            assert (np.floor(at + 1e-9) >= low - more).all() and (np.ceil(at - 1e-9) < high).all()
    assert (seen == 1).all()
