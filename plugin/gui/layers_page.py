"""Choose layers of the project by hand, where the archive is not the one that was found or there is none."""

from __future__ import annotations

from qgis.core import QgsMapLayerProxyModel, QgsProject
from qgis.gui import QgsMapLayerComboBox
from qgis.PyQt.QtCore import QCoreApplication, pyqtSignal
from qgis.PyQt.QtWidgets import QFormLayout, QHBoxLayout, QLabel, QPushButton, QVBoxLayout, QWidget

from ..qgis_layer.project_layers import choose_by_hand, remember

_LINES, _POINTS = QgsMapLayerProxyModel.Filter.LineLayer, QgsMapLayerProxyModel.Filter.PointLayer
_POLYGONS = QgsMapLayerProxyModel.Filter.PolygonLayer


def tr(text):
    return QCoreApplication.translate("LayersPage", text)


def _wanted():
    return (
        ("drains", tr("&Drains (lines)"), _LINES), ("structures", tr("S&tructures (points)"), _POINTS),
        ("shots", tr("Le&vel shots (points)"), _POINTS), ("land", tr("La&nd (areas)"), _POLYGONS),
        ("trees", tr("Single t&rees (points)"), _POINTS), ("tree_rows", tr("Tree ro&ws (lines)"), _LINES),
        ("woods", tr("W&oods (areas)"), _POLYGONS),
    )


class LayersPage(QWidget):
    """`left`: the page is done with."""

    left = pyqtSignal()

    def __init__(self, session, parent=None):
        super().__init__(parent)
        self._session, self._boxes = session, {}
        words = QLabel(tr(
            "Usually the layers of the archive are found by themselves. Here you can take any others of this project; "
            "only drains are needed. The project remembers what you choose."
        ))
        words.setWordWrap(True)
        form = QFormLayout()
        for name, label, kind in _wanted():
            self._boxes[name] = box = QgsMapLayerComboBox()
            box.setFilters(kind)
            box.setAllowEmptyLayer(True)
            form.addRow(label, box)
        self._use, leave = QPushButton(tr("&Use these layers")), QPushButton(tr("&Leave as it was"))
        self._use.clicked.connect(self.use)
        leave.clicked.connect(self.left)
        self._boxes["drains"].layerChanged.connect(lambda layer: self._use.setEnabled(layer is not None))
        row = QHBoxLayout()
        row.addWidget(self._use)
        row.addWidget(leave)
        row.addStretch()
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.addWidget(words)
        column.addLayout(form)
        column.addLayout(row)
        column.addStretch()

    def begin(self):
        """Show the layers that are asked now."""
        layers = {} if self._session.archive is None else self._session.archive.layers
        for name, box in self._boxes.items():
            box.setLayer(layers.get(name))
        self._use.setEnabled(self._boxes["drains"].currentLayer() is not None)

    def use(self):
        """Take what is chosen."""
        chosen = {name: box.currentLayer() for name, box in self._boxes.items()}
        layers = {name: layer for name, layer in chosen.items() if layer is not None}
        archive = choose_by_hand(QgsProject.instance(), layers)
        remember(QgsProject.instance(), archive)
        self._session.choose(archive)
        self.left.emit()
