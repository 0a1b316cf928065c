"""Makes the sample: `build_sample.py [FOLDER]`, run by a Python that sees QGIS and the locked packages.

Two runs on one version of QGIS write the same bytes. The committed files are made with QGIS 3.22, since
a newer QGIS opens them unchanged and not the other way round.
"""

from __future__ import annotations

import importlib.util
import os
import re
import shutil
import sqlite3
import sys
import tempfile
import zipfile
from pathlib import Path

# Read when Qt and GDAL start: a fixed order of attributes, fixed dates, no -wal files left behind.
os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")
os.environ.update(QT_HASH_SEED="0", OGR_CURRENT_DATE="2025-03-17T00:00:00Z", OGR_SQLITE_JOURNAL="delete")

ROOT = Path(__file__).resolve().parents[1]
MADE_ON = "2025-03-17"
CELL_FT = 10
NO_GROUND = -9999.0
ARCHIVE, GROUND, PROJECT = "ossel_flats.gpkg", "ground.tif", "ossel_flats.qgz"
# layers of each map theme; "Pipes" is what the project shows first
BASE = ("structures", "tree_rows", "trees", "woods", "land")
THEMES = {
    "Pipes": (*BASE, "drains", "calls", "readings", "landmarks", "repairs", "shots"),
    "Fall": (*BASE, "fall"),
    "Suspects": (*BASE, "drains", "suspect_places", "suspect_pipe"),
}
BOOKMARKS = {
    "All of Ossel Flats": (-100, -150, 5100, 2350),
    "Plug on main A": (700, 600, 1400, 1250),
    "Gap in main B": (3700, 1500, 4300, 1800),
    "Hole on main B": (3850, 330, 4150, 530),
    "Missing lateral of F5": (3050, 400, 4050, 700),
}
_UUID = re.compile(r"[0-9a-f]{8}([-_])[0-9a-f]{4}\1[0-9a-f]{4}\1[0-9a-f]{4}\1[0-9a-f]{12}")


def import_checkout() -> None:
    """Make the checkout importable as the package `fallkeeper`, whatever its folder is called."""
    if "fallkeeper" not in sys.modules:
        spec = importlib.util.spec_from_file_location(
            "fallkeeper", ROOT / "__init__.py", submodule_search_locations=[str(ROOT)]
        )
        package = importlib.util.module_from_spec(spec)
        sys.modules["fallkeeper"] = package
        spec.loader.exec_module(package)


def build(folder: Path) -> None:
    """Write all files of the sample into `folder`, replacing older ones. QGIS must be running."""
    from fallkeeper.sample_project.build_results import RESULTS, write_results
    from qgis.core import QgsProject

    with tempfile.TemporaryDirectory() as scratch:
        work = Path(scratch)
        write_ground(work / GROUND)
        write_archive(work / ARCHIVE)
        write_results(work / ARCHIVE, work / GROUND, work / RESULTS)
        tidy(work / RESULTS)
        write_project(QgsProject.instance(), work)
        QgsProject.instance().clear()
        for name in (GROUND, ARCHIVE, RESULTS, PROJECT):
            shutil.copyfile(work / name, folder / name)


def write_ground(path: Path) -> None:
    """The ground, 10 ft cells. Kinks lie on cell centres, so that bilinear samples are the formula itself."""
    import numpy as np
    from fallkeeper.sample_project import rows
    from osgeo import gdal, osr

    x = np.arange(-200, 5201, CELL_FT)
    y = np.arange(2500, -201, -CELL_FT)
    main_x = np.where(x < 2500, 1000, 4000)
    ground = 699.0 + 0.001 * y[:, None] + 0.001 * np.abs(x - main_x)[None, :]
    options = ["COMPRESS=DEFLATE", "PREDICTOR=3", "ZLEVEL=9"]
    image = gdal.GetDriverByName("GTiff").Create(str(path), len(x), len(y), 1, gdal.GDT_Float32, options)
    half = CELL_FT / 2
    west, north = rows.ORIGIN_FT[0] + float(x[0]) - half, rows.ORIGIN_FT[1] + float(y[0]) + half
    image.SetGeoTransform((west, CELL_FT, 0, north, 0, -CELL_FT))
    reference = osr.SpatialReference()
    reference.SetFromUserInput(rows.CRS)
    image.SetProjection(reference.ExportToWkt())
    band = image.GetRasterBand(1)
    band.SetNoDataValue(NO_GROUND)
    band.SetUnitType("US survey foot")
    band.WriteArray(ground.astype(np.float32))


def write_archive(path: Path) -> None:
    """The archive with its rows; dates and random ids of saved styles are fixed afterwards."""
    import datetime

    from fallkeeper.plugin.qgis_layer.archive import create_archive
    from fallkeeper.plugin.qgis_layer.sample import fill_with_sample
    from fallkeeper.sample_project import rows
    from qgis.core import QgsCoordinateReferenceSystem

    crs = QgsCoordinateReferenceSystem(rows.CRS)
    create_archive(path, crs, "us", "Ossel Flats", datetime.date.fromisoformat(MADE_ON))
    fill_with_sample(path, crs, "us")
    archive = sqlite3.connect(path)
    archive.execute(
        "UPDATE archive SET vertical_datum = 'Bench marks of Ossel County', ground = ?, ground_unit = 'us-ft'", [GROUND]
    )
    _fix_history(archive)
    archive.execute("UPDATE layer_styles SET update_time = ?", [f"{MADE_ON}T00:00:00.000Z"])
    for number, style in archive.execute("SELECT id, styleQML FROM layer_styles").fetchall():
        archive.execute("UPDATE layer_styles SET styleQML = ? WHERE id = ?", [with_fixed_ids(style), number])
    archive.commit()
    archive.close()
    tidy(path)


def _fix_history(archive: sqlite3.Connection) -> None:
    """Date what was written as the archive says it was made. Its triggers keep anybody else from doing so."""
    kept = archive.execute("SELECT name, sql FROM sqlite_master WHERE name LIKE 'history_kept_%'").fetchall()
    for name, _ in kept:
        archive.execute(f"DROP TRIGGER {name}")
    archive.execute("UPDATE history SET at = ?", [f"{MADE_ON}T00:00:00.000Z"])
    for _, statement in kept:
        archive.execute(statement)


def tidy(path: Path) -> None:
    """Write a GeoPackage anew without holes and leftovers."""
    file = sqlite3.connect(path)
    file.execute("VACUUM")
    file.close()


def write_project(project: QgsProject, folder: Path) -> None:  # noqa: F821 (QGIS is imported when needed)
    """The project with its themes and bookmarks, beside the archive in `folder`."""
    from fallkeeper.plugin.qgis_layer.project import add_archive, set_up_editing
    from fallkeeper.plugin.qgis_layer.symbols import settle_profile
    from fallkeeper.sample_project import rows
    from fallkeeper.sample_project.build_results import RESULTS, add_results
    from qgis.core import QgsCoordinateReferenceSystem, QgsRasterLayer, QgsReferencedRectangle, QgsUnitTypes

    project.clear()
    project.setCrs(QgsCoordinateReferenceSystem(rows.CRS))
    project.setEllipsoid("NONE")  # plan lengths are planar
    project.setDistanceUnits(QgsUnitTypes.DistanceUnit.DistanceFeet)
    project.setAreaUnits(QgsUnitTypes.AreaUnit.AreaAcres)
    project.setTitle("Ossel Flats")
    project.setFileName(str(folder / PROJECT.replace(".qgz", ".qgs")))
    layers = add_archive(project, folder / ARCHIVE)
    set_up_editing(project, layers)
    layers["ground"] = QgsRasterLayer(str(folder / GROUND), "Ground")
    settle_profile(layers["ground"])
    project.addMapLayer(layers["ground"], False)
    project.layerTreeRoot().findGroup("Land").addLayer(layers["ground"])
    layers.update(add_results(project, folder / RESULTS))
    _add_themes(project, layers)
    _add_bookmarks(project)
    _choose_transform(project)
    project.viewSettings().setDefaultViewExtent(
        QgsReferencedRectangle(_rectangle(BOOKMARKS["All of Ossel Flats"]), project.crs())
    )
    project.write()
    _pack(Path(project.fileName()), folder / PROJECT)


def _rectangle(box: tuple[float, float, float, float]) -> QgsRectangle:  # noqa: F821
    from fallkeeper.sample_project import rows
    from qgis.core import QgsRectangle

    (x, y), (x0, y0, x1, y1) = rows.ORIGIN_FT, box
    return QgsRectangle(x + x0, y + y0, x + x1, y + y1)


def _choose_transform(project: QgsProject) -> None:  # noqa: F821
    """Go to longitude and latitude by the way that needs no grid file: else QGIS warns wherever one is missing."""
    from qgis.core import QgsCoordinateReferenceSystem, QgsDatumTransform

    degrees = QgsCoordinateReferenceSystem("EPSG:4326")
    ways = QgsDatumTransform.operations(project.crs(), degrees)
    context = project.transformContext()
    context.addCoordinateOperation(project.crs(), degrees, next(way.proj for way in ways if not way.grids))
    project.setTransformContext(context)


def _add_themes(project: QgsProject, layers: dict) -> None:  # noqa: F821
    """Each theme shows the meaning of its results in the tree of layers."""
    from fallkeeper.sample_project.build_results import RESULT_LAYERS
    from qgis.core import QgsLayerTreeModel, QgsMapThemeCollection

    root = project.layerTreeRoot()
    model = QgsLayerTreeModel(root)
    for theme, shown in reversed(THEMES.items()):  # the first one stays visible
        for name, layer in layers.items():
            node = root.findLayer(layer.id())
            node.setItemVisibilityChecked(name in shown)
            node.setExpanded(name in shown and name in RESULT_LAYERS)
        record = QgsMapThemeCollection.createThemeFromCurrentState(root, model)
        project.mapThemeCollection().insert(theme, record)


def _add_bookmarks(project: QgsProject) -> None:  # noqa: F821
    from qgis.core import QgsBookmark, QgsReferencedRectangle

    for number, (name, box) in enumerate(BOOKMARKS.items()):
        bookmark = QgsBookmark()
        bookmark.setId(f"bookmark_{number}")
        bookmark.setName(name)
        bookmark.setExtent(QgsReferencedRectangle(_rectangle(box), project.crs()))
        project.bookmarkManager().addBookmark(bookmark)


def with_fixed_ids(text: str) -> str:
    """Number the random ids of layers and symbols in the order of their first appearance."""
    seen: dict[str, int] = {}

    def fixed(match: re.Match) -> str:
        number = seen.setdefault(match.group(0).replace("_", "-"), len(seen) + 1)
        return match.group(1).join(["00000000", "0000", "4000", "8000", f"{number:012x}"])

    return _UUID.sub(fixed, text)


def _pack(written: Path, packed: Path) -> None:
    """Zip a written project after giving random ids, dates and the user's name fixed values."""
    text = with_fixed_ids(written.read_text(encoding="utf-8"))
    # QGIS writes these in the order of addresses in memory
    text = re.sub(r"(?:[ ]*<layer-setting [^>]*/>\n)+", lambda m: "".join(sorted(m.group(0).splitlines(True))), text)
    text = re.sub(r"attachment:///\w+_styles\.db", "attachment:///", text)  # QGIS 3.26 on: a file by a random name
    text = re.sub(r' saveDateTime="[^"]*"', f' saveDateTime="{MADE_ON}T00:00:00"', text)
    text = re.sub(r' saveUser(Full)?="[^"]*"', "", text)
    text = re.sub(r"<creation>[^<]*</creation>", f"<creation>{MADE_ON}T00:00:00</creation>", text)
    text = re.sub(r'(<date [^>]*value=")[^"]*(")', rf"\g<1>{MADE_ON}T00:00:00\2", text)
    year, month, day = (int(part) for part in MADE_ON.split("-"))
    entry = zipfile.ZipInfo(written.name, (year, month, day, 0, 0, 0))
    entry.external_attr, entry.compress_type = 0o644 << 16, zipfile.ZIP_DEFLATED
    with zipfile.ZipFile(packed, "w") as archive:
        archive.writestr(entry, text.encode("utf-8"), compresslevel=9)


def main() -> None:
    """Build into the folder given, else where this file lies."""
    from qgis.core import QgsApplication

    folder = Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).resolve().parent
    folder.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as profile:
        os.environ["QGIS_CUSTOM_CONFIG_PATH"] = profile
        application = QgsApplication([], True)
        application.initQgis()
        import_checkout()
        build(folder)
        application.exitQgis()
    print(f"The sample is in {folder}")


if __name__ == "__main__":
    main()
