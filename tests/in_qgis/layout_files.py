"""Layout files for tests, written by programs that are not the plugin's: geopandas and pyogrio, zipfile, plain text."""

from __future__ import annotations

import shutil
import sqlite3
import warnings
import zipfile
from contextlib import closing
from pathlib import Path

import geopandas
import pyogrio
import shapely
from fallkeeper.plugin.qgis_layer.archive import make_way
from fallkeeper.sample_project import rows

FEET = rows.CRS
X0, Y0 = rows.ORIGIN_FT


def at(*places):
    """A line through places of the sample county."""
    return shapely.LineString([(X0 + x, Y0 + y) for x, y in places])


def three(crs=FEET, **changed):
    """A main and two laterals beside main B of the sample county."""
    frame = geopandas.GeoDataFrame(
        {
            "LINE_ID": ["N1", "N2", "S\u00fcd"],
            "TYPE": ["lat", "Lateral", "sub main"],
            "SIZE": ['4"', "4 in", "200 mm"],
            "SPACING_FT": [50.0, None, None],
            "INSTALLED": ["2024-04-25", None, "2024-05-01"],
            "OWNER": ["x", None, "y"],
            **changed,
        },
        geometry=[
            at((4000, 1225), (3128.8, 1225)), at((4000, 1275), (3500.123456, 1275.5), (3128.8, 1275)),
            at((4000, 2050), (4000, 2150)),
        ],
        crs=FEET,
    )
    return frame if crs == FEET else frame.to_crs(crs)


def write(frame, path: Path, **options):
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of cut names and lost CRS, which is what is tested
        frame.to_file(path, engine="pyogrio", **options)
    return path


def write_kmz(frame, path: Path):
    inner = write(frame, path.with_suffix(".kml"), driver="LIBKML")
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as held:
        held.write(inner, "doc.kml")
    inner.unlink()
    return path


def read(path, layer="drains"):
    """A layer of a file as another reader sees it."""
    return pyogrio.read_dataframe(path, layer=layer, use_arrow=False)


class QuickArchives:
    """Stands for `create_archive`: the empty file of a CRS is made once, later ones are copies under another name."""

    def __init__(self, create_archive, folder: Path):
        self.create_archive, self.folder, self.made = create_archive, folder, {}

    def __call__(self, path, crs, units="", name="", created_on=None):
        key = crs.authid(), units
        make_way(path)
        if key not in self.made:
            self.made[key] = self.folder / f"{len(self.made)}.gpkg"
            self.create_archive(self.made[key], crs, units, name, created_on)
        shutil.copy(self.made[key], path)
        with closing(sqlite3.connect(path)) as file, file:
            file.execute("UPDATE archive SET name = ?", (name,))
