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
# picture: title, extent in local ft, result layers from the top down, archive layers below them
MAPS = {
    "map_fall": ("Ossel Flats: which way every pipe flows, and whether it surely falls", WHOLE,
                 (("pipes", "PIPES"),), ("structures", "tree_rows", "land")),
    "map_suspects": ("Ossel Flats: suspect pipe and places", WHOLE,
                     (("point_findings", "POINT_FINDINGS"), ("line_findings", "LINE_FINDINGS")),
                     ("structures", "drains", "tree_rows", "land")),
    "map_plug": ("Ossel Flats: pipe and land above a plug in main A at 9+05", PLUG,
                 (("above_plug", "PIPES"), ("land_above_plug", "LAND_ABOVE")),
                 ("readings", "structures", "drains", "tree_rows", "land")),
}
BAND, BAR_FT = 60, 500  # height of the strip with title and scale bar, in pixels; length of the scale bar
PROFILES = {"profile_r1": "reroute_r1.html", "profile_r2": "reroute_r2.html"}
SIZE = QSize(1600, 900)


def draw_pictures(folder: Path) -> list[Path]:
    """Draw all pictures into `folder` and return their paths."""
    maps = [_draw_map(folder, name, *wanted) for name, wanted in MAPS.items()]
    return maps + [_draw_profile(folder, name, page) for name, page in PROFILES.items()]


def _draw_map(folder: Path, name: str, title: str, box: tuple, results: tuple, archive: tuple) -> Path:
    layers = [_result(folder, table, result) for table, result in results]
    layers += [QgsVectorLayer(f"{folder / 'ossel_flats.gpkg'}|layername={table}", table, "ogr") for table in archive]
    if any(result == "PIPES" for _, result in results):  # the result names its pipe itself
        for layer in layers[len(results):]:
            layer.setLabelsEnabled(layer.name() != "drains")
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
    image = job.renderedImage()
    _add_band(image, title, settings.mapUnitsPerPixel())
    path = folder / f"{name}.png"
    image.save(str(path))
    return path


def _add_band(image: QImage, title: str, ft_per_pixel: float) -> None:
    """A strip at the foot with title, scale bar and north."""
    top, width = image.height() - BAND, image.width()
    painter = QPainter(image)
    painter.fillRect(0, top, width, BAND, QColor("white"))
    painter.setPen(QColor("black"))
    painter.drawLine(0, top, width, top)
    font = painter.font()
    font.setPixelSize(24)
    painter.setFont(font)
    painter.drawText(20, top + 40, title)
    bar = int(BAR_FT / ft_per_pixel)
    left = width - 240 - bar
    painter.fillRect(left, top + 36, bar, 6, QColor("black"))
    painter.drawText(left + bar + 12, top + 44, f"{BAR_FT} ft")
    painter.drawText(width - 60, top + 44, "N ↑")
    painter.end()


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
