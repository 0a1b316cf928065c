"""Rasters of the ground for tests, lines over them, and the heights they ought to have."""

import numpy as np
import shapely
from fallkeeper.plugin.elevation.ground import sample_lines
from fallkeeper.plugin.network.lines import explode
from fallkeeper.plugin.qgis_layer.ground import RasterGround
from fallkeeper.plugin.qgis_layer.read import Frame
from fallkeeper.plugin.units import Units
from osgeo import gdal, osr
from qgis.core import QgsCoordinateReferenceSystem, QgsCoordinateTransformContext, QgsRasterLayer
from scipy import ndimage

CRS = "EPSG:26917"
LEFT, TOP = 300_000.0, 4_600_000.0
NODATA = -9999.0


def ground_of(path, is_canceled=lambda: False, crs=CRS):
    frame = Frame(QgsCoordinateReferenceSystem(crs), QgsCoordinateTransformContext(), Units("metric"))
    return RasterGround(QgsRasterLayer(str(path), "ground"), frame, is_canceled=is_canceled)


def write(path, cells, block=16, mask=None, corner=(LEFT, TOP)):
    """A GeoTIFF of 1 m cells in square blocks."""
    rows, columns = cells.shape
    options = ["TILED=YES", f"BLOCKXSIZE={block}", f"BLOCKYSIZE={block}", "COMPRESS=DEFLATE"]
    dataset = gdal.GetDriverByName("GTiff").Create(str(path), columns, rows, 1, gdal.GDT_Float32, options)
    dataset.SetGeoTransform((corner[0], 1.0, 0.0, corner[1], 0.0, -1.0))
    reference = osr.SpatialReference()
    reference.ImportFromEPSG(int(CRS.split(":")[1]))
    dataset.SetProjection(reference.ExportToWkt())
    band = dataset.GetRasterBand(1)
    band.SetNoDataValue(NODATA)
    band.WriteRaster(0, 0, columns, rows, np.ascontiguousarray(cells, dtype=np.float32).tobytes())
    if mask is not None:
        dataset.CreateMaskBand(gdal.GMF_PER_DATASET)
        band.GetMaskBand().WriteRaster(0, 0, columns, rows, mask.astype(np.uint8).tobytes())
    return path


def plane(x, y):
    return 200.0 + 0.01 * (x - LEFT) + 0.02 * (TOP - y)


def plane_cells(rows, columns):
    y, x = np.mgrid[0:rows, 0:columns]
    return plane(LEFT + x + 0.5, TOP - y - 0.5)


def lines_over(rows, columns, count=60, seed=2):
    """Lines of a few vertices anywhere over a raster, some of them along its edges or beyond."""
    generator = np.random.default_rng(seed)
    shapes = []
    for size in generator.integers(2, 6, count):
        xy = generator.random((size, 2)) * (columns * 1.1, rows * 1.1) - (0.05 * columns, 0.05 * rows)
        shapes.append(np.column_stack([LEFT + xy[:, 0], TOP - xy[:, 1]]))
    return lines_through(*shapes)


def lines_through(*shapes):
    return explode(np.array([shapely.LineString(xy) for xy in shapes], dtype=object))[0]


def sampled(ground, lines, step_m=3.0, progress=None):
    return sample_lines(lines, ground, step_m, np.ones(len(lines), dtype=bool), progress)


def expected_heights(lines, profile, cells):
    """By another hand: places from the lines, bilinear by scipy; NaN off the raster."""
    line = np.repeat(np.arange(len(lines)), profile.count)
    x, y = lines.points_at(line, profile.places_m()).T
    column, row = x - LEFT - 0.5, TOP - y - 0.5
    rows, columns = cells.shape
    off = (column < -0.5) | (column > columns - 0.5) | (row < -0.5) | (row > rows - 0.5)
    place = np.clip(row, 0, rows - 1), np.clip(column, 0, columns - 1)
    missing = ndimage.map_coordinates(np.isnan(cells).astype(float), place, order=1) > 1e-12
    return np.where(off | missing, np.nan, ndimage.map_coordinates(np.nan_to_num(cells), place, order=1))
