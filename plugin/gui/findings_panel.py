"""Work through the findings: check, filter, read why, and be shown the place."""

from __future__ import annotations

from qgis.core import QgsGeometry, QgsPointXY, QgsProject, QgsRectangle
from qgis.PyQt.QtCore import QCoreApplication, QModelIndex, Qt, pyqtSignal
from qgis.PyQt.QtWidgets import (
    QComboBox,
    QHBoxLayout,
    QHeaderView,
    QLabel,
    QSplitter,
    QTextBrowser,
    QTreeView,
    QVBoxLayout,
    QWidget,
)

from ..qgis_layer.project_layers import grounds_in
from .accept_fix import AcceptFix
from .buttons import push_button
from .drain_fix import DrainFix
from .findings_filter import FindingsFilter
from .findings_model import FindingsModel
from .joint_fix import SETTLED, JointFix

_ROOM = 1.5  # how much more than a finding the map shows around it
_LEAST_M = 60.0


def tr(text):
    return QCoreApplication.translate("FindingsPanel", text)


class FindingsPanel(QWidget):
    """`trace_wanted`: what hangs on the pipe at a point of the map."""

    tool = None  # asks nothing of the map
    trace_wanted = pyqtSignal(object)

    def __init__(self, session, canvas, parent=None):
        super().__init__(parent)
        self._session, self._canvas = session, canvas
        self.view = None
        self._model = FindingsModel(self)
        self._make_widgets()
        self._lay_out()
        session.changed.connect(self._county_changed)
        self._county_changed()

    def start(self):
        """Nothing to switch on."""

    def stop(self):
        """What was found stays, the rings do not."""
        self._joints.offer([])
        self._drains.offer(None, None, [])

    def close_for_good(self):
        self._joints.close_for_good()
        self._drains.close_for_good()

    def check(self):
        """Run all checks in the background; from then on they follow every edit."""
        self._session.check(self._ground.currentData())

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

    def trace_place(self):
        """Ask what hangs on the pipe at the finding chosen."""
        import shapely

        row = self._model.row_at(self._tree.currentIndex())
        shape = None if row is None else self.view.shapes[row]
        if shape is None:
            self._say(tr("This finding has no place on the map."))
            return
        at = shapely.line_interpolate_point(shape, 0.5, normalized=True) if shape.geom_type == "LineString" else (
            shapely.point_on_surface(shape))
        size = self._session.loaded.unit_m
        drains = self._session.archive.drains
        self.trace_wanted.emit(self._canvas.mapSettings().layerToMapCoordinates(
            drains, QgsPointXY(at.x / size, at.y / size)))

    def _county_changed(self):
        self._offer_grounds()
        self._go.setEnabled(self._session.archive is not None and not self._session.is_loading)
        self._stale.setVisible(self.view is not None and self._session.is_behind)
        if self._session.findings is not self.view:
            self.view = self._session.findings
            self._show_findings()

    def _offer_grounds(self):
        """The grounds of the project; the one chosen stays, else the first is taken."""
        chosen, could_choose = self._ground.currentData(), self._ground.count() > 1
        grounds = grounds_in(QgsProject.instance())
        self._ground.clear()
        for ground in grounds:
            self._ground.addItem(ground.name(), ground.id())  # a layer itself may be gone when it is asked for
        self._ground.addItem(tr("no ground"), None)
        last = self._ground.count() - 1 if could_choose else 0
        self._ground.setCurrentIndex(max(self._ground.findData(chosen), 0) if chosen else last)

    def _show_findings(self):
        """Those of the session, opened and scrolled to where the last ones were."""
        opened, at = self._opened(), self._tree.verticalScrollBar().value()
        self._filters.offer(self.view)
        self._filter()
        for number in range(self._model.rowCount()):
            index = self._model.index(number, 0)
            self._tree.setExpanded(index, self._model.check_at(index) in opened)
        self._tree.verticalScrollBar().setValue(at)

    def _opened(self):
        """The checks whose findings are listed now."""
        indexes = [self._model.index(number, 0) for number in range(self._model.rowCount())]
        return {self._model.check_at(index) for index in indexes if self._tree.isExpanded(index)}

    def _filter(self):
        """Show what the filters leave."""
        if self.view is None:
            self._model.show(None, [])
            self._count.clear()
            return
        box = None
        if self._filters.in_view.isChecked():
            extent = self._canvas.mapSettings().outputExtentToLayerExtent(self._session.archive.drains,
                                                                          self._canvas.extent())
            size = self._session.loaded.unit_m
            box = tuple(v * size for v in (extent.xMinimum(), extent.yMinimum(), extent.xMaximum(), extent.yMaximum()))
        groups = self.view.groups(box_m=box, **self._filters.chosen())
        self._model.show(self.view, groups)
        shown = sum(len(group.rows) for group in groups if group.check is not None)
        self._count.setText(f"{self.view.said()}; {tr('shown')}: {shown:,}")
        for number in range(len(groups)):
            self._tree.setFirstColumnSpanned(number, QModelIndex(), True)

    def _explain(self, *_):
        row = self._model.row_at(self._tree.currentIndex())
        self._show.setEnabled(row is not None)
        self._trace.setEnabled(row is not None)
        check, rows = self._model.rows_at(self._tree.currentIndex())
        self._joints.offer([self.view.shapes[one] for one in rows] if check in SETTLED else [])
        self._accept.offer(self.view, rows)
        self._drains.offer(self.view, check, rows)
        if row is not None:
            from ..answers.answer import as_html

            self._why.setHtml(as_html(self.view.why(row)))

    def _say(self, sentence):
        self._why.setPlainText(sentence)

    def _make_widgets(self):
        self._go = push_button(tr("Check now"), tr("Run all checks; from then on they follow every edit."), self.check)
        self._show = push_button(tr("Show me"), tr("Zoom to the place and flash it (or double-click the line)."),
                                 self.show_place)
        self._trace = push_button(tr("What hangs here"), tr("Ask what drains through this place and where it goes."),
                                  self.trace_place)
        self._show.setEnabled(False)
        self._trace.setEnabled(False)
        self._ground = QComboBox()
        self._ground.setToolTip(tr("Raster of the bare ground; without it cover and unsurveyed fall are not checked."))
        self._filters = FindingsFilter()
        self._filters.changed.connect(self._filter)
        self._count, self._why = QLabel(), QTextBrowser()
        self._count.setWordWrap(True)
        self._stale = QLabel(tr("Something was edited since; these findings do not know of it yet."))
        self._stale.setWordWrap(True)
        self._why.setPlainText(tr("Press Check now. Then choose a line to read what is wrong there and what to do."))
        self._joints = JointFix(self._session, self._canvas)
        self._drains = DrainFix(self._session, self._canvas)
        self._accept = AcceptFix(self._session)
        self._tree = QTreeView()
        self._tree.setModel(self._model)
        self._tree.setUniformRowHeights(True)
        self._tree.header().setStretchLastSection(False)
        self._tree.header().setSectionResizeMode(0, QHeaderView.ResizeMode.Stretch)
        self._tree.selectionModel().currentChanged.connect(self._explain)
        self._tree.doubleClicked.connect(lambda index: self.show_place())

    def _lay_out(self):
        first, last = QHBoxLayout(), QHBoxLayout()
        for row, widgets in (
            (first, (QLabel(tr("Ground")), self._ground, self._go)), (last, (self._count, self._trace, self._show)),
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
        column.addWidget(self._filters)
        column.addWidget(parts, 1)
        column.addWidget(self._joints)
        column.addWidget(self._drains)
        column.addWidget(self._accept)
        column.addLayout(last)
