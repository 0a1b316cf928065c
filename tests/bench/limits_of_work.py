"""What no check can do without: decoding the ground, and reading the file."""

from __future__ import annotations

import sqlite3
from contextlib import closing

from county import County
from measure import Clock


def decode_ground(county: County, clock: Clock) -> None:
    """Every block of the ground once, into one buffer, on all cores; nothing is done with the heights."""
    import numpy as np
    from osgeo import gdal

    gdal.UseExceptions()
    dataset = gdal.OpenEx(str(county.ground), open_options=["NUM_THREADS=ALL_CPUS"])
    band = dataset.GetRasterBand(1)
    rows = band.GetBlockSize()[1]
    into = np.empty((rows, dataset.RasterXSize), dtype=np.float32)
    clock.loaded()
    with clock("decode"):
        for top in range(0, dataset.RasterYSize, rows):
            height = min(rows, dataset.RasterYSize - top)
            band.ReadRaster(0, top, dataset.RasterXSize, height, buf_type=gdal.GDT_Float32, buf_obj=into[:height])
            band.FlushCache()


def step_file(county: County, clock: Clock) -> None:
    """SQLite stepping over all rows of the drains, every column looked at, in compiled code."""
    with closing(sqlite3.connect(county.vector)) as connection:
        names = [row[1] for row in connection.execute("PRAGMA table_info(drains)")]
        every = ", ".join(f'sum(length("{name}"))' for name in names)
        clock.loaded()
        with clock("step"):
            connection.execute(f"SELECT count(*), {every} FROM drains").fetchall()
