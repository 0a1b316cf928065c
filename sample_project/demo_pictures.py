"""Maps and profiles of the demo as PNG."""

from __future__ import annotations

import re
from pathlib import Path

from fallkeeper.plugin.qgis_layer.style import style_for
from fallkeeper.sample_project import rows
from qgis.core import QgsMapRendererParallelJob, QgsMapSettings, QgsProject, QgsRectangle, QgsVectorLayer
from qgis.PyQt.QtCore import QByteArray, QRectF, QSize
from qgis.PyQt.QtGui import QColor, QImage, QPainter
from qgis.PyQt.QtSvg import QSvgRenderer

X0, Y0 = rows.ORIGIN_FT
WHOLE, PLUG = (-100, -150, 5100, 2350), (80, 560, 1920, 1300)
# picture: extent in local ft, result layers from the top down, archive layers below them
MAPS = {
    "map_fall": (WHOLE, (("nodes", "NODES"), ("pipes", "PIPES")), ("tree_rows", "land")),
    "map_suspects": (WHOLE, (("point_findings", "POINT_FINDINGS"), ("line_findings", "LINE_FINDINGS")),
                     ("structures", "drains", "tree_rows", "land")),
    "map_plug": (PLUG, (("above_plug", "PIPES"), ("land_above_plug", "LAND_ABOVE")),
                 ("readings", "structures", "drains", "tree_rows", "land")),
}
PROFILES = {"profile_r1": "reroute_r1.html", "profile_r2": "reroute_r2.html"}
SIZE = QSize(1600, 900)


def draw_pictures(folder: Path) -> list[Path]:
    """Draw all pictures into `folder` and return their paths."""
    maps = [_draw_map(folder, name, *wanted) for name, wanted in MAPS.items()]
    return maps + [_draw_profile(folder, name, page) for name, page in PROFILES.items()]


def _draw_map(folder: Path, name: str, box: tuple, results: tuple, archive: tuple) -> Path:
    layers = [_result(folder, table, result) for table, result in results]
    layers += [QgsVectorLayer(f"{folder / 'ossel_flats.gpkg'}|layername={table}", table, "ogr") for table in archive]
    settings = QgsMapSettings()
    settings.setLayers(layers)
    settings.setDestinationCrs(layers[0].crs())
    settings.setExtent(QgsRectangle(X0 + box[0], Y0 + box[1], X0 + box[2], Y0 + box[3]))
    settings.setOutputSize(SIZE)
    settings.setOutputDpi(96)
    settings.setBackgroundColor(QColor("white"))
    settings.setTransformContext(QgsProject.instance().transformContext())
    job = QgsMapRendererParallelJob(settings)
    job.start()
    job.waitForFinished()
    path = folder / f"{name}.png"
    job.renderedImage().save(str(path))
    return path


def _result(folder: Path, table: str, result: str) -> QgsVectorLayer:
    layer = QgsVectorLayer(f"{folder / 'results.gpkg'}|layername={table}", table, "ogr")
    style_for(result)(layer)
    return layer


def _draw_profile(folder: Path, name: str, page: str) -> Path:
    """The first wide drawing of a report page."""
    html = (folder / page).read_text(encoding="utf-8")
    svg = max(re.findall(r"<svg.*?</svg>", html, flags=re.DOTALL), key=len)
    renderer = QSvgRenderer(QByteArray(svg.encode("utf-8")))
    size = renderer.defaultSize() * 2
    image = QImage(size, QImage.Format.Format_RGB32)
    image.fill(QColor("white"))
    painter = QPainter(image)
    renderer.render(painter, QRectF(0, 0, size.width(), size.height()))
    painter.end()
    path = folder / f"{name}.png"
    image.save(str(path))
    return path
