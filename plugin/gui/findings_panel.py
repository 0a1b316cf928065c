"""Work through the findings: check, filter, read why, and be shown the place."""

from __future__ import annotations

from qgis.core import QgsApplication, QgsGeometry, QgsProject, QgsRectangle
from qgis.PyQt.QtCore import QCoreApplication, QModelIndex, Qt
from qgis.PyQt.QtWidgets import (
    QCheckBox,
    QComboBox,
    QHBoxLayout,
    QHeaderView,
    QLabel,
    QProgressBar,
    QPushButton,
    QSplitter,
    QTextBrowser,
    QTreeView,
    QVBoxLayout,
    QWidget,
)

from ..qgis_layer.project_layers import grounds_in
from .check_task import CheckTask
from .findings_model import FindingsModel

_ROOM = 1.5  # how much more than a finding the map shows around it
_LEAST_M = 60.0


def tr(text):
    return QCoreApplication.translate("FindingsPanel", text)


class FindingsPanel(QWidget):
    tool = None  # asks nothing of the map

    def __init__(self, session, canvas, parent=None):
        super().__init__(parent)
        self._session, self._canvas = session, canvas
        self._task, self.view, self._checked = None, None, None
        self._model = FindingsModel(self)
        self._make_widgets()
        self._lay_out()
        session.changed.connect(self._county_changed)
        self._county_changed()

    def start(self):
        """Nothing to switch on."""

    def stop(self):
        """What was found stays."""

    def close_for_good(self):
        self._cancel()

    def check(self):
        """Run all checks in the background."""
        from ..qgis_layer.check_loader import CheckLoader
        from ..qgis_layer.raster import RasterError

        self._cancel()
        loaded, layers = self._session.loaded, self._session.archive.layers
        ground = self._ground.currentData()
        transforms = QgsProject.instance().transformContext()
        try:
            task = CheckTask(lambda canceled: CheckLoader(loaded, layers, ground, transforms, canceled))
        except RasterError as fault:
            self._say(str(fault))
            return
        task.checked.connect(lambda view: self._take(task, loaded, view))
        task.failed.connect(lambda why: self._fail(task, why))
        task.progressChanged.connect(lambda percent: self._progress.setValue(int(percent)))
        self._task = task
        self._show_running()
        QgsApplication.taskManager().addTask(task)

    def show_place(self):
        """Zoom to the finding chosen, and flash it."""
        row = self._model.row_at(self._tree.currentIndex())
        box = None if row is None else self.view.box_m(row)
        if box is None:
            self._say(tr("This finding has no place on the map."))
            return
        import shapely

        size = self._session.loaded.unit_m
        rectangle = QgsRectangle(*(value / size for value in box))
        rectangle.grow(max(rectangle.width(), rectangle.height()) * (_ROOM - 1.0) / 2.0 + _LEAST_M / size)
        drains = self._session.archive.drains
        self._canvas.setExtent(self._canvas.mapSettings().layerExtentToOutputExtent(drains, rectangle))
        self._canvas.refresh()
        drawn = shapely.transform(self.view.shapes[row], lambda xy: xy / size)
        shape = QgsGeometry()
        shape.fromWkb(shapely.to_wkb(drawn, output_dimension=2))
        self._canvas.flashGeometries([shape], drains.crs())

    def _county_changed(self):
        loaded = self._session.loaded
        self._offer_grounds()
        self._go.setEnabled(loaded is not None)
        if self.view is not None and loaded is not self._checked:
            self._stale.setText(tr("The pipes have changed since these checks: check again."))
        self._stale.setVisible(self.view is not None and loaded is not self._checked)

    def _offer_grounds(self):
        """The grounds of the project; the one chosen stays, else the first is taken."""
        chosen = self._ground.currentData()
        grounds = grounds_in(QgsProject.instance())
        self._ground.clear()
        for ground in grounds:
            self._ground.addItem(ground.name(), ground)
        self._ground.addItem(tr("no ground"), None)
        self._ground.setCurrentIndex(grounds.index(chosen) if chosen in grounds else 0)

    def _take(self, task, loaded, view):
        if task is not self._task:
            return
        self._task, self.view, self._checked = None, view, loaded
        self._show_running()
        self._filter()
        self._county_changed()

    def _fail(self, task, why):
        if task is self._task:
            self._task = None
            self._show_running()
            self._say(why or tr("Stopped."))

    def _cancel(self):
        if self._task is not None:
            task, self._task = self._task, None
            task.cancel()
        self._show_running()

    def _filter(self):
        """Show what the filters leave."""
        if self.view is None:
            return
        box = None
        if self._in_view.isChecked():
            extent = self._canvas.mapSettings().outputExtentToLayerExtent(self._session.archive.drains,
                                                                          self._canvas.extent())
            size = self._session.loaded.unit_m
            box = tuple(v * size for v in (extent.xMinimum(), extent.yMinimum(), extent.xMaximum(), extent.yMaximum()))
        groups = self.view.groups(self._severity.currentData(), box)
        self._model.show(self.view, groups)
        shown = sum(len(group.rows) for group in groups)
        self._count.setText(f"{self.view.said()}; {tr('shown')}: {shown:,}")
        for number in range(len(groups)):
            self._tree.setFirstColumnSpanned(number, QModelIndex(), True)

    def _explain(self, *_):
        row = self._model.row_at(self._tree.currentIndex())
        self._show.setEnabled(row is not None)
        if row is not None:
            from ..answers.answer import as_html

            self._why.setHtml(as_html(self.view.why(row)))

    def _say(self, sentence):
        self._why.setPlainText(sentence)

    def _show_running(self):
        running = self._task is not None
        self._progress.setVisible(running)
        self._stop.setVisible(running)
        self._go.setVisible(not running)

    def _make_widgets(self):
        self._go = self._button(tr("Check now"), tr("Run all checks on the pipes as they are now."), self.check)
        self._stop = self._button(tr("Cancel"), tr("Stop the checks."), self._cancel)
        self._show = self._button(tr("Show me"), tr("Zoom to the place and flash it (or double-click the line)."),
                                  self.show_place)
        self._show.setEnabled(False)
        self._ground = QComboBox()
        self._ground.setToolTip(tr("Raster of the bare ground; without it cover and unsurveyed fall are not checked."))
        self._severity = QComboBox()
        for label, value in ((tr("all findings"), None), (tr("serious only"), "serious"), (tr("doubts only"), "doubt"),
                             (tr("notes only"), "note")):
            self._severity.addItem(label, value)
        self._severity.currentIndexChanged.connect(self._filter)
        self._in_view = QCheckBox(tr("only on the map"))
        self._in_view.setToolTip(tr("Only findings within what the map shows now."))
        self._in_view.toggled.connect(self._filter)
        self._progress, self._count, self._stale, self._why = QProgressBar(), QLabel(), QLabel(), QTextBrowser()
        self._stale.setWordWrap(True)
        self._why.setPlainText(tr("Press Check now. Then choose a line to read what is wrong there and what to do."))
        self._tree = QTreeView()
        self._tree.setModel(self._model)
        self._tree.setUniformRowHeights(True)
        self._tree.header().setStretchLastSection(False)
        self._tree.header().setSectionResizeMode(0, QHeaderView.ResizeMode.Stretch)
        self._tree.selectionModel().currentChanged.connect(self._explain)
        self._tree.doubleClicked.connect(lambda index: self.show_place())

    def _button(self, label, tip, action):
        button = QPushButton(label)
        button.setToolTip(tip)
        button.clicked.connect(lambda: action())
        return button

    def _lay_out(self):
        first, second, last = QHBoxLayout(), QHBoxLayout(), QHBoxLayout()
        for row, widgets in (
            (first, (QLabel(tr("Ground")), self._ground, self._go, self._progress, self._stop)),
            (second, (self._severity, self._in_view)), (last, (self._count, self._show)),
        ):
            for widget in widgets:
                row.addWidget(widget)
        first.setStretch(1, 1)
        last.setStretch(0, 1)
        parts = QSplitter(Qt.Orientation.Vertical)
        parts.addWidget(self._tree)
        parts.addWidget(self._why)
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.addLayout(first)
        column.addWidget(self._stale)
        column.addLayout(second)
        column.addWidget(parts, 1)
        column.addLayout(last)
