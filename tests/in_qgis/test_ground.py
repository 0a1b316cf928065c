"""Heights from raster layers, against independent readers and against planes whose heights are known."""

import shutil
from pathlib import Path

import numpy as np
import pytest
import rasterio
from fallkeeper.plugin.elevation.ground import SamplingCanceledError
from fallkeeper.plugin.qgis_layer import raster, tiles
from fallkeeper.plugin.qgis_layer.ground import RasterGround, height_unit_m
from fallkeeper.plugin.qgis_layer.raster import RasterError
from fallkeeper.plugin.qgis_layer.read import Frame
from fallkeeper.plugin.units import FOOT_M, US_SURVEY_FOOT_M, Units
from osgeo import gdal, osr
from outside import data_file
from qgis.core import (
    QgsCoordinateReferenceSystem,
    QgsCoordinateTransform,
    QgsCoordinateTransformContext,
    QgsPointXY,
    QgsRasterLayer,
    QgsRasterRange,
)
from scipy import ndimage

UTM = "EPSG:26917"
LEFT, TOP = 300_000.0, 4_600_000.0
NODATA = -9999.0


def frame_of(crs=UTM, units=Units("metric")):  # noqa: B008 (frozen)
    return Frame(QgsCoordinateReferenceSystem(crs), QgsCoordinateTransformContext(), units)


@pytest.fixture
def make_layer(tmp_path):
    """Write cells as a GeoTIFF with blocks of 16 by 16 cells of 2 m, and load it."""

    def make(cells, nodata=NODATA, crs=UTM, geotransform=(LEFT, 2.0, 0.0, TOP, 0.0, -2.0), mask=None, **settings):
        path = tmp_path / f"ground {len(list(tmp_path.iterdir()))}.tif"
        kind = {"float32": gdal.GDT_Float32, "int16": gdal.GDT_Int16}[str(cells.dtype)]
        options = ["TILED=YES", "BLOCKXSIZE=16", "BLOCKYSIZE=16", "COMPRESS=DEFLATE"]
        dataset = gdal.GetDriverByName("GTiff").Create(str(path), cells.shape[1], cells.shape[0], 1, kind, options)
        if geotransform:
            dataset.SetGeoTransform(geotransform)
        if crs:
            reference = osr.SpatialReference()
            reference.ImportFromEPSG(int(crs.split(":")[1]))
            dataset.SetProjection(reference.ExportToWkt())
        band = dataset.GetRasterBand(1)
        if nodata is not None:
            band.SetNoDataValue(nodata)
        if "scale" in settings:
            band.SetScale(settings["scale"])
            band.SetOffset(settings["offset"])
        band.WriteRaster(0, 0, cells.shape[1], cells.shape[0], np.ascontiguousarray(cells).tobytes())
        if mask is not None:
            dataset.CreateMaskBand(gdal.GMF_PER_DATASET)
            band.GetMaskBand().WriteRaster(0, 0, mask.shape[1], mask.shape[0], mask.astype(np.uint8).tobytes())
        band = dataset = None  # closes the file
        return QgsRasterLayer(str(path), "ground")

    return make


def plane(x, y):
    return 200.0 + 0.001 * (x - LEFT) + 0.002 * (y - TOP)


def plane_cells(rows, columns):
    y, x = np.mgrid[0:rows, 0:columns]
    return plane(LEFT + 2.0 * x + 1.0, TOP - 2.0 * y - 1.0).astype(np.float32)


def centre(row, column):
    return LEFT + 2.0 * column + 1.0, TOP - 2.0 * row - 1.0


def at(ground, *points):
    x, y = np.array(points, dtype=float).T
    return ground(x, y)


def random_points(rows, columns, count=3000, seed=1):
    """Points at least half a cell inside."""
    generator = np.random.default_rng(seed)
    x = LEFT + 1.0 + generator.random(count) * (2.0 * columns - 2.0)
    return x, TOP - 1.0 - generator.random(count) * (2.0 * rows - 2.0)


def test_a_plane_comes_back_exactly_over_many_blocks(make_layer):
    ground = RasterGround(make_layer(plane_cells(700, 90)), frame_of())
    x, y = random_points(700, 90)
    assert ground(x, y) == pytest.approx(plane(x, y), abs=2e-5)


def test_the_order_of_the_points_does_not_matter(make_layer):
    ground = RasterGround(make_layer(plane_cells(700, 90)), frame_of())
    x, y = random_points(700, 90)
    order = np.argsort(y)
    assert (ground(x[order], y[order]) == ground(x, y)[order]).all()


def test_heights_on_both_sides_of_a_gap_between_tiles(make_layer, monkeypatch):
    """Points only in the last rows of one tile and the first of another far below."""
    monkeypatch.setattr(raster, "_CELLS_AT_ONCE", 256 * 48)
    monkeypatch.setattr(tiles, "_SIDE_AT_LEAST", 256)
    ground = RasterGround(make_layer(plane_cells(1100, 40)), frame_of())
    rows = np.array([255.5, 256.0, 255.0, 1023.5, 1024.0, 1099.0, 0.0, 767.999])
    x, y = np.full(8, LEFT + 30.3), TOP - 2.0 * rows - 1.0
    assert ground(x, y) == pytest.approx(plane(x, y), abs=2e-5)


def test_a_missing_cell_is_missing_and_never_a_height(make_layer):
    cells = plane_cells(40, 40)
    cells[10, 10] = NODATA
    cells[20, 20] = np.nan
    cells[30, 30] = np.inf
    ground = RasterGround(make_layer(cells), frame_of())
    for hole in (10, 20, 30):
        x, y = centre(hole, hole)
        beside = at(ground, (x, y), (x + 1.0, y), (x - 1.9, y + 1.9), (x, y - 0.01))
        assert np.isnan(beside).all()


def test_a_missing_cell_that_counts_for_nothing_does_no_harm(make_layer):
    cells = plane_cells(40, 40)
    cells[10, 10] = NODATA
    ground = RasterGround(make_layer(cells), frame_of())
    x, y = centre(10, 10)
    points = [(x - 2.0, y), (x + 2.0, y), (x, y + 2.0), (x + 2.0, y + 0.7), (x - 2.0, y - 2.0)]
    assert at(ground, *points) == pytest.approx([plane(*point) for point in points], abs=2e-5)


def test_holes_agree_with_an_independent_interpolation(make_layer):
    generator = np.random.default_rng(3)
    cells = (200 + generator.random((300, 60))).astype(np.float32)
    holes = generator.random(cells.shape) < 0.05
    cells[holes] = NODATA
    x, y = random_points(300, 60)
    ours = RasterGround(make_layer(cells), frame_of())(x, y)
    place = [(TOP - y) / 2.0 - 0.5, (x - LEFT) / 2.0 - 0.5]
    theirs = ndimage.map_coordinates(np.where(holes, np.nan, cells).astype(float), place, order=1)
    assert (np.isnan(ours) == np.isnan(theirs)).all() and 0 < np.isnan(ours).sum() < len(x)
    assert ours == pytest.approx(theirs, abs=1e-9, nan_ok=True)


def test_the_outer_half_cell_takes_the_outermost_cells_and_beyond_is_missing(make_layer):
    ground = RasterGround(make_layer(plane_cells(40, 40)), frame_of())
    right, bottom = LEFT + 80.0, TOP - 80.0
    inside = at(ground, (LEFT, TOP), (right, bottom), (right, TOP - 31.0), (LEFT + 0.2, TOP - 31.0))
    clamped = [(LEFT + 1, TOP - 1), (right - 1, bottom + 1), (right - 1, TOP - 31.0), (LEFT + 1, TOP - 31.0)]
    assert inside == pytest.approx([plane(*point) for point in clamped], abs=2e-5)
    west, east = (LEFT - 0.01, TOP - 9), (right + 0.01, TOP - 9)
    assert np.isnan(at(ground, west, east, (LEFT + 9, TOP + 0.01), (LEFT + 9, bottom - 0.01))).all()


def test_a_point_that_is_no_number_is_missing(make_layer):
    ground = RasterGround(make_layer(plane_cells(40, 40)), frame_of())
    assert np.isnan(at(ground, (np.nan, TOP - 9), (LEFT + 9, np.inf))).all()


def test_one_row_one_column_one_cell(make_layer):
    for shape in ((1, 40), (40, 1), (1, 1)):
        ground = RasterGround(make_layer(plane_cells(*shape)), frame_of())
        assert at(ground, (LEFT + 1.0, TOP - 1.0)) == pytest.approx([plane(LEFT + 1.0, TOP - 1.0)], abs=2e-5)


def test_no_points_at_all(make_layer):
    assert not len(RasterGround(make_layer(plane_cells(40, 40)), frame_of())(np.zeros(0), np.zeros(0)))


def test_integers_with_scale_and_offset_are_heights(make_layer):
    """Centimetres above 190 m, as some agencies deliver."""
    cells = np.full((40, 40), 1234, dtype=np.int16)
    cells[5, 5] = -32768
    ground = RasterGround(make_layer(cells, nodata=-32768, scale=0.01, offset=190.0), frame_of())
    heights = at(ground, (LEFT + 40, TOP - 40), centre(5, 5))
    assert heights[0] == pytest.approx(202.34, abs=1e-4) and np.isnan(heights[1])


def test_what_the_user_declared_to_be_no_data_is_missing(make_layer):
    cells = plane_cells(40, 40)
    cells[10, 10] = 0.0
    layer = make_layer(cells, nodata=None)
    layer.dataProvider().setUserNoDataValue(1, [QgsRasterRange(0.0, 0.0)])
    heights = at(RasterGround(layer, frame_of()), centre(10, 10), centre(20, 20))
    assert np.isnan(heights[0]) and np.isfinite(heights[1])


def test_a_masked_cell_is_missing(make_layer):
    mask = np.full((40, 40), 255)
    mask[10, 10] = 0
    layer = make_layer(plane_cells(40, 40), nodata=None, mask=mask)
    heights = at(RasterGround(layer, frame_of()), centre(10, 10), centre(10, 11), centre(20, 20))
    assert np.isnan(heights[0]) and np.isfinite(heights[1:]).all()


def test_a_raster_with_south_up_is_read_as_it_lies(make_layer):
    cells = plane_cells(40, 40)[::-1]
    layer = make_layer(cells, geotransform=(LEFT, 2.0, 0.0, TOP - 80.0, 0.0, 2.0))
    x, y = random_points(40, 40)
    assert RasterGround(layer, frame_of())(x, y) == pytest.approx(plane(x, y), abs=2e-5)


def test_a_virtual_raster_of_tiles(make_layer, tmp_path):
    whole = plane_cells(300, 60)
    west = make_layer(whole[:, :30])
    east = make_layer(whole[:, 30:], geotransform=(LEFT + 60.0, 2.0, 0.0, TOP, 0.0, -2.0))
    path = tmp_path / "tiles.vrt"
    gdal.BuildVRT(str(path), [west.source(), east.source()]).FlushCache()
    x, y = random_points(300, 60)
    assert RasterGround(QgsRasterLayer(str(path), "tiles"), frame_of())(x, y) == pytest.approx(plane(x, y), abs=2e-5)


def test_drains_in_feet_over_a_raster_in_metres(make_layer):
    """Points arrive in metres of a CRS in US survey feet; the raster lies in another CRS and counts in metres."""
    frame = frame_of("EPSG:3734", Units("us", US_SURVEY_FOOT_M))
    layer = make_layer(plane_cells(300, 60))
    back = QgsCoordinateTransform(layer.crs(), frame.crs, QgsCoordinateTransformContext())
    x, y = random_points(300, 60, count=50)
    feet = np.array([list(back.transform(QgsPointXY(*point))) for point in zip(x, y)])
    heights = RasterGround(layer, frame, "m")(feet[:, 0] * US_SURVEY_FOOT_M, feet[:, 1] * US_SURVEY_FOOT_M)
    assert heights == pytest.approx(plane(x, y), abs=1e-4)


def test_a_point_that_cannot_be_brought_into_the_raster_s_crs_is_missing_alone(make_layer):
    layer = make_layer(plane_cells(300, 60))
    frame = frame_of("EPSG:3734", Units("us", US_SURVEY_FOOT_M))
    back = QgsCoordinateTransform(layer.crs(), frame.crs, QgsCoordinateTransformContext())
    good = back.transform(QgsPointXY(LEFT + 50, TOP - 50))
    x = np.array([good.x(), 1e30, good.x()]) * US_SURVEY_FOOT_M
    y = np.array([good.y(), 1e30, good.y()]) * US_SURVEY_FOOT_M
    heights = RasterGround(layer, frame, "m")(x, y)
    assert np.isfinite(heights).tolist() == [True, False, True]
    assert np.isnan(RasterGround(layer, frame, "m")(x[1:2], y[1:2])).all()


def test_the_unit_of_heights(make_layer):
    layer = make_layer(plane_cells(40, 40))
    height = plane(LEFT + 40, TOP - 40)
    for choice, size_m in (("auto", 1.0), ("m", 1.0), ("ft", FOOT_M), ("us-ft", US_SURVEY_FOOT_M)):
        heights = at(RasterGround(layer, frame_of(), choice), (LEFT + 40, TOP - 40))
        assert heights[0] == pytest.approx(height * size_m, abs=2e-5)
    assert height_unit_m("auto", Units("us", US_SURVEY_FOOT_M)) == US_SURVEY_FOOT_M
    assert height_unit_m("m", Units("us")) == 1.0


@pytest.mark.parametrize(
    ("settings", "sentence"),
    [
        ({"geotransform": (LEFT, 2.0, 0.3, TOP, 0.3, -2.0)}, "turned against its axes"),
        ({"geotransform": None}, "has no place on the map"),
        ({"crs": None}, "has no coordinate reference system"),
    ],
)
def test_a_raster_that_cannot_be_used_is_refused_with_a_sentence(make_layer, settings, sentence):
    with pytest.raises(RasterError, match=sentence):
        RasterGround(make_layer(plane_cells(40, 40), **settings), frame_of())


@pytest.mark.parametrize("exceptions", [False, True])
def test_a_file_that_went_away_is_a_sentence_and_gdal_is_left_as_it_was(make_layer, exceptions, capfd):
    before = gdal.GetUseExceptions()
    layer = make_layer(plane_cells(40, 40))
    (gdal.UseExceptions if exceptions else gdal.DontUseExceptions)()
    try:
        RasterGround(layer, frame_of())
        assert gdal.GetUseExceptions() == exceptions
        Path(layer.source()).unlink()
        with pytest.raises(RasterError, match="cannot be opened"):
            RasterGround(layer, frame_of())
        assert gdal.GetUseExceptions() == exceptions
    finally:
        (gdal.UseExceptions if before else gdal.DontUseExceptions)()
    assert "ERROR" not in capfd.readouterr().err


@pytest.mark.parametrize("exceptions", [False, True])
def test_a_damaged_file_is_a_sentence(make_layer, exceptions):
    before = gdal.GetUseExceptions()
    noise = np.random.default_rng(5).random((700, 90)).astype(np.float32)
    layer = make_layer(noise)
    path = Path(layer.source())
    whole = path.read_bytes()
    path.write_bytes(whole[: len(whole) // 2])
    (gdal.UseExceptions if exceptions else gdal.DontUseExceptions)()
    try:
        with pytest.raises(RasterError, match=r"cannot be (read near row|opened)"):
            RasterGround(layer, frame_of())(*random_points(700, 90))
    finally:
        (gdal.UseExceptions if before else gdal.DontUseExceptions)()


def test_a_picture_service_is_refused():
    layer = QgsRasterLayer("type=xyz&url=http://localhost/%7Bz%7D/%7Bx%7D/%7By%7D.png", "tiles", "wms")
    with pytest.raises(RasterError, match="export it to a GeoTIFF"):
        RasterGround(layer, frame_of())


def test_progress_rises_to_the_whole_and_a_cancel_stops(make_layer, monkeypatch):
    monkeypatch.setattr(raster, "_CELLS_AT_ONCE", 512 * 48)
    layer = make_layer(plane_cells(1100, 40))
    x, y = random_points(1100, 40)
    shares = []
    RasterGround(layer, frame_of())(x, y, progress=shares.append)
    assert len(shares) == 2 and shares == sorted(shares) and shares[-1] == 1.0
    with pytest.raises(SamplingCanceledError):
        RasterGround(layer, frame_of(), is_canceled=lambda: True)(x, y)
    shares.clear()
    with pytest.raises(SamplingCanceledError):
        RasterGround(layer, frame_of(), is_canceled=lambda: len(shares) == 1)(x, y, progress=shares.append)
    assert len(shares) == 1


def test_real_lidar_agrees_with_an_independent_reader(tmp_path):
    """400 x 400 cells of 1 m bare-earth lidar; read by rasterio, interpolated by scipy."""
    # a copy: QGIS writes what it finds out for drawing into a file beside a raster
    path = Path(shutil.copy(data_file("lidar_ground_1m.tif"), tmp_path))
    with rasterio.open(path) as source:
        cells = source.read(1).astype(float)
    generator = np.random.default_rng(7)
    column, row = generator.random(5000) * 399.0, generator.random(5000) * 399.0
    layer = QgsRasterLayer(str(path), "lidar")
    x, y = layer.extent().xMinimum() + column + 0.5, layer.extent().yMaximum() - row - 0.5
    ours = RasterGround(layer, frame_of("EPSG:26915"))(x, y)
    assert ours == pytest.approx(ndimage.map_coordinates(cells, [row, column], order=1), abs=1e-4)
    assert 379.6 < ours.min() < ours.max() < 410.8
