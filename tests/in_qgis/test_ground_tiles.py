"""A raster far larger than memory: read tile by tile, each block once, and never from its overviews."""

import threading
import tracemalloc
import weakref

import numpy as np
import pytest
from fallkeeper.plugin.elevation.ground import SamplingCanceledError, sample_lines
from fallkeeper.plugin.network.lines import explode
from fallkeeper.plugin.qgis_layer import raster, tile_reader, tiles
from osgeo import gdal
from qgis.core import QgsCoordinateReferenceSystem, QgsCoordinateTransform, QgsProject, QgsRasterLayer
from rasters import (
    CRS,
    LEFT,
    NODATA,
    TOP,
    expected_heights,
    ground_of,
    lines_over,
    lines_through,
    plane,
    plane_cells,
    sampled,
    write,
)


@pytest.fixture
def small_tiles(monkeypatch):
    """Tiles of so many cells, so that small rasters have many."""

    def set_size(cells, rows=1):
        monkeypatch.setattr(raster, "_CELLS_AT_ONCE", cells)
        monkeypatch.setattr(tiles, "_SIDE_AT_LEAST", rows)
        monkeypatch.setattr(raster, "_PLACES_AT_ONCE", 100)

    return set_size


@pytest.fixture
def windows(monkeypatch):
    """The windows that are read: left, top, columns, rows."""
    seen = []
    read = tile_reader._Cells._read

    def counted(self, tile, into):
        seen.append((tile.left, tile.top, into.shape[1], into.shape[0]))
        read(self, tile, into)

    monkeypatch.setattr(tile_reader._Cells, "_read", counted)
    return seen


@pytest.mark.parametrize("cells", [16 * 16, 4 * 16 * 16, 200, 40 * 16 * 16])
def test_small_tiles_give_the_heights_of_one_that_holds_all(tmp_path, small_tiles, cells):
    """Tiles of one block, of several, of part of one, and all blocks at once; holes, a mask, lines beyond the edge."""
    generator = np.random.default_rng(1)
    heights = 200 + generator.random((90, 140)).astype(np.float32)
    heights[generator.random(heights.shape) < 0.02] = NODATA
    mask = np.where(generator.random(heights.shape) < 0.02, 0, 255)
    path = write(tmp_path / "g.tif", heights, mask=mask)
    lines = lines_over(90, 140)
    small_tiles(cells)
    profile = sampled(ground_of(path), lines)
    known = np.where((heights == NODATA) | (mask == 0), np.nan, heights).astype(float)
    assert profile.heights_m() == pytest.approx(expected_heights(lines, profile, known), abs=1e-6, nan_ok=True)
    assert 0 < profile.missing_count < len(profile) / 2


def test_lines_in_any_order_have_the_same_heights(tmp_path, small_tiles):
    path = write(tmp_path / "g.tif", 200 + np.random.default_rng(4).random((90, 140)))
    lines, shuffled = lines_over(90, 140), np.random.default_rng(5).permutation(60)
    small_tiles(4 * 16 * 16)
    one, other = sampled(ground_of(path), lines), sampled(ground_of(path), explode(lines.geometry[shuffled])[0])
    for number, line in enumerate(shuffled.tolist()):
        expected = one.heights_m(line, line + 1)
        assert other.heights_m(number, number + 1) == pytest.approx(expected, abs=1e-6, nan_ok=True)


def test_some_lines_sampled_alone_have_the_heights_they_have_among_all(tmp_path, small_tiles):
    path = write(tmp_path / "g.tif", 200 + np.random.default_rng(4).random((90, 140)))
    lines = lines_over(90, 140)
    small_tiles(4 * 16 * 16)
    whole, touched = sampled(ground_of(path), lines), np.arange(60) % 7 == 3
    some = sample_lines(lines, ground_of(path), 3.0, touched)
    for line in np.flatnonzero(touched).tolist():
        assert some.heights_m(line, line + 1).tobytes() == whole.heights_m(line, line + 1).tobytes()


def test_each_block_is_read_once(tmp_path, small_tiles, windows):
    """Lines close to one another, so that every block is needed and every edge between tiles crossed."""
    path = write(tmp_path / "g.tif", plane_cells(160, 160))
    small_tiles(4 * 16 * 16)
    ends = np.arange(2.0, 160.0, 4.0)
    across = [np.array([(LEFT, TOP - at), (LEFT + 160, TOP - at)]) for at in ends]
    down = [np.array([(LEFT + at, TOP), (LEFT + at, TOP - 160)]) for at in ends]
    profile = sampled(ground_of(path), lines_through(*across, *down), step_m=1.0)
    assert profile.missing_count == 0
    read = np.zeros((160, 160), dtype=int)
    for left, top, columns, rows in windows:
        read[top : top + rows, left : left + columns] += 1
    assert (read == 1).all()


def test_blocks_without_a_pipe_are_not_read(tmp_path, small_tiles, windows):
    path = write(tmp_path / "g.tif", plane_cells(160, 160))
    small_tiles(10 * 16 * 16)
    line = lines_through(np.array([(LEFT + 40, TOP - 40), (LEFT + 60, TOP - 40)]))
    assert sampled(ground_of(path), line).heights_m() == pytest.approx(
        plane(LEFT + 40 + np.linspace(0, 20, 8), TOP - 40), abs=1e-4
    )
    assert windows == [(32, 32, 32, 16)]


def test_a_seam_whose_neighbour_was_not_read_is_read_alone(tmp_path, small_tiles, windows):
    """Two short pipes on the seams above and left of a tile, whose neighbours hold no place of any pipe."""
    path = write(tmp_path / "g.tif", plane_cells(160, 160))
    small_tiles(16 * 16)
    ends = ((40, 32), (44, 32)), ((64, 70), (64, 72)), ((96.1, 96.1), (96.4, 96.4))
    lines = lines_through(*(np.array([(LEFT + x, TOP - y) for x, y in pair]) for pair in ends))
    profile = sampled(ground_of(path), lines, step_m=0.5)
    assert profile.heights_m() == pytest.approx(expected_heights(lines, profile, plane_cells(160, 160)), abs=1e-4)
    assert (32, 31, 16, 1) in windows and (63, 64, 1, 16) in windows


def test_another_crs_is_followed_along_long_lines(tmp_path):
    """Lines of some kilometres in the neighbouring zone: each place against the same place by itself."""
    path = write(tmp_path / "g.tif", plane_cells(4000, 300), block=256)
    there = QgsRasterLayer(str(path), "g").extent().center()
    transform = QgsCoordinateTransform(QgsCoordinateReferenceSystem(CRS), QgsCoordinateReferenceSystem("EPSG:26916"),
                                       QgsProject.instance())
    ends = [transform.transform(there.x() + dx, there.y() + dy) for dx, dy in ((-20, -1900), (30, 1900), (60, -1800))]
    lines = lines_through(np.array([(end.x(), end.y()) for end in ends]))
    ground = ground_of(path, crs="EPSG:26916")
    profile = sampled(ground, lines, step_m=7.0)
    xy = lines.points_at(np.zeros(len(profile), dtype=int), profile.places_m())
    assert profile.missing_count == 0
    assert profile.heights_m() == pytest.approx(ground(*xy.T), abs=2e-5)


def spoil(path, access=gdal.OF_UPDATE):
    """Overviews with heights that are wrong, in the file itself or, where it is only read, in one beside it."""
    dataset = gdal.OpenEx(str(path), access)
    dataset.BuildOverviews("NEAREST", [2, 4])
    dataset = gdal.OpenEx(str(path) + (".ovr" if access == gdal.OF_READONLY else ""), gdal.OF_UPDATE)
    band = dataset.GetRasterBand(1)
    for overview in [band.GetOverview(number) for number in range(band.GetOverviewCount())] or [band]:
        wrong = np.full((overview.YSize, overview.XSize), 77.0, dtype=np.float32)
        overview.WriteRaster(0, 0, overview.XSize, overview.YSize, wrong.tobytes())
    if access == gdal.OF_READONLY:
        wrong = np.full((band.YSize, band.XSize), 77.0, dtype=np.float32)
        band.WriteRaster(0, 0, band.XSize, band.YSize, wrong.tobytes())


@pytest.mark.parametrize("kind", ["inside", "beside", "cloud-optimized", "virtual", "virtual, beside"])
def test_wrong_overviews_do_no_harm(tmp_path, kind):
    path = write(tmp_path / "g.tif", plane_cells(600, 700), block=128)
    spoil(path, gdal.OF_READONLY if kind == "beside" else gdal.OF_UPDATE)
    if kind == "cloud-optimized":
        options = ["OVERVIEWS=FORCE_USE_EXISTING", "BLOCKSIZE=128"]
        path = str(tmp_path / "cog.tif")
        gdal.GetDriverByName("COG").CreateCopy(path, gdal.Open(str(tmp_path / "g.tif")), options=options)
    if kind.startswith("virtual"):
        path = str(tmp_path / "g.vrt")
        gdal.BuildVRT(path, [str(tmp_path / "g.tif")]).FlushCache()
        if kind.endswith("beside"):
            spoil(path, gdal.OF_READONLY)
    dataset = gdal.OpenEx(str(path))
    smaller = dataset.GetRasterBand(1).GetOverview(0)
    assert np.frombuffer(smaller.ReadRaster(0, 0, 9, 9), dtype=np.float32).tolist() == [77.0] * 81
    lines = lines_over(600, 700)
    profile = sampled(ground_of(path), lines)
    expected = expected_heights(lines, profile, plane_cells(600, 700))
    assert profile.heights_m() == pytest.approx(expected, abs=1e-4, nan_ok=True)


def test_a_virtual_raster_whose_parts_do_not_lie_on_tiles(tmp_path, small_tiles):
    cells = 200 + np.random.default_rng(6).random((150, 210)).astype(np.float32)
    parts = []
    for top in range(0, 150, 50):
        for left in range(0, 210, 70):
            part = tmp_path / f"{top} {left}.tif"
            parts.append(str(write(part, cells[top : top + 50, left : left + 70], corner=(LEFT + left, TOP - top))))
    path = str(tmp_path / "whole.vrt")
    gdal.BuildVRT(path, parts).FlushCache()
    lines = lines_over(150, 210)
    small_tiles(128 * 64)
    profile = sampled(ground_of(path), lines)
    expected = expected_heights(lines, profile, cells.astype(float))
    assert profile.heights_m() == pytest.approx(expected, abs=1e-6, nan_ok=True)


def test_memory_does_not_grow_with_the_raster(tmp_path, small_tiles):
    """Four and sixteen million cells by tiles of 65,536: what Python and GDAL hold at most, samples apart."""
    small_tiles(65_536, rows=64)
    peaks = {}
    for size in (2000, 4000):
        path = write(tmp_path / f"{size}.tif", np.full((size, size), 200.0), block=64)
        lines, ground, used = lines_over(size, size, count=200), ground_of(path), [gdal.GetCacheUsed()]
        tracemalloc.start()
        profile = sampled(ground, lines, 50.0, lambda share, used=used: used.append(gdal.GetCacheUsed()))
        peaks[size] = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        assert max(used) - used[0] < 2_000_000
        assert len(used) > (size / 256) ** 2 / 4 and len(profile) > 10_000
    assert peaks[4000] < 6_000_000 < 4 * 4000 * 4000 / 10
    assert peaks[4000] < 2.5 * peaks[2000]  # twice the samples


def test_the_cache_of_blocks_is_small_while_reading_and_put_back(tmp_path):
    path, before = write(tmp_path / "g.tif", plane_cells(90, 140)), gdal.GetCacheMax()
    lines, seen = lines_over(90, 140), []
    sampled(ground_of(path), lines, progress=lambda share: seen.append(gdal.GetCacheMax()))
    assert max(seen) <= 64_000_000 < before and gdal.GetCacheMax() == before
    with pytest.raises(SamplingCanceledError):
        sampled(ground_of(path, is_canceled=lambda: True), lines)
    assert gdal.GetCacheMax() == before


def test_the_cache_is_put_back_when_the_last_of_several_readers_is_done():
    before = gdal.GetCacheMax()
    first, second = tile_reader.small_cache(), tile_reader.small_cache()
    first.__enter__()
    second.__enter__()
    first.__exit__(None, None, None)
    assert gdal.GetCacheMax() < before
    second.__exit__(None, None, None)
    assert gdal.GetCacheMax() == before


def test_no_thread_and_no_open_file_is_left_after_the_end_a_cancel_or_a_fault(tmp_path, small_tiles):
    path = write(tmp_path / "g.tif", np.random.default_rng(7).random((400, 400)))
    lines = lines_over(400, 400)
    small_tiles(16 * 16)
    threads = threading.active_count()
    grounds = [ground_of(path), ground_of(path, is_canceled=lambda: True)]
    sampled(grounds[0], lines)
    with pytest.raises(SamplingCanceledError):
        sampled(grounds[1], lines)
    whole = path.read_bytes()
    path.write_bytes(whole[: len(whole) // 2])
    grounds.append(ground_of(path))
    with pytest.raises(raster.RasterError, match="cannot be read near row"):
        sampled(grounds[2], lines)
    assert threading.active_count() == threads
    files = [weakref.ref(ground._band) for ground in grounds]
    grounds.clear()
    assert [file() for file in files] == [None] * 3


def test_the_same_places_told_as_points_or_along_lines_have_the_same_heights(tmp_path):
    path = write(tmp_path / "g.tif", 200 + np.random.default_rng(8).random((90, 140)))
    lines = lines_over(90, 140)
    profile = sampled(ground_of(path), lines)
    line = np.repeat(np.arange(len(lines)), profile.count)
    x, y = lines.points_at(line, profile.places_m()).T
    assert profile.heights_m() == pytest.approx(ground_of(path)(x, y), abs=1e-6, nan_ok=True)
    assert 0 < profile.missing_count < len(profile)
