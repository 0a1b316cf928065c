"""The object QGIS holds while the plugin is on."""

from __future__ import annotations

from pathlib import Path

from qgis.core import Qgis, QgsApplication
from qgis.gui import QgsMessageViewer
from qgis.PyQt.QtCore import Qt
from qgis.PyQt.QtWidgets import QPushButton

from ..processing_algs.provider import FallkeeperProvider
from . import dependencies


class FallkeeperPlugin:
    """Brings the Processing provider and, in the desktop, the dock; says what is missing. `iface` is None headless."""

    def __init__(self, iface):
        self.iface = iface
        self.provider = None  # Processing keeps no Python reference of its own
        self.notice = None
        self.dock = None
        self.options = None

    def initProcessing(self):
        """Called by QGIS itself when it runs algorithms without a desktop."""
        self.provider = FallkeeperProvider()
        QgsApplication.processingRegistry().addProvider(self.provider)

    def initGui(self):
        self.initProcessing()
        complaint = dependencies.complaint(Path(QgsApplication.qgisSettingsDirPath()))
        if complaint is not None:
            self._show_notice(complaint)
        self._add_dock("" if complaint is None else complaint.text)

    def unload(self):
        if self.dock is not None:
            self._remove_dock()
        if self.notice is not None:
            self.iface.messageBar().popWidget(self.notice)
            self.notice = None
        if self.provider is not None:
            QgsApplication.processingRegistry().removeProvider(self.provider)
            self.provider = None

    def _add_dock(self, complaint):
        from .gui.dock import FallkeeperDock
        from .gui.options_page import OptionsFactory

        self.dock = FallkeeperDock(self.iface, open_algorithm, complaint)
        self.iface.addDockWidget(Qt.DockWidgetArea.RightDockWidgetArea, self.dock)
        self.iface.addDockWidget(Qt.DockWidgetArea.BottomDockWidgetArea, self.dock.profile)
        self.dock.profile.hide()  # until a question needs it
        self.iface.addToolBarIcon(self.dock.show_action)
        for action in self.dock.actions.all:
            self.iface.addPluginToMenu("Fallkeeper", action)
        self.iface.pluginHelpMenu().addAction(self.dock.help_action)
        self.options = OptionsFactory()
        self.iface.registerOptionsWidgetFactory(self.options)

    def _remove_dock(self):
        self.iface.unregisterOptionsWidgetFactory(self.options)
        self.iface.pluginHelpMenu().removeAction(self.dock.help_action)
        for action in self.dock.actions.all:
            self.iface.removePluginMenu("Fallkeeper", action)
        self.iface.removeToolBarIcon(self.dock.show_action)
        self.dock.close_for_good()
        self.iface.removeDockWidget(self.dock.profile)
        self.iface.removeDockWidget(self.dock)
        self.dock.deleteLater()
        self.dock = self.options = None

    def _show_notice(self, complaint):
        """One item in the message bar that stays until dismissed."""
        bar = self.iface.messageBar()
        self.notice = bar.createMessage("Fallkeeper", complaint.summary)
        self._add_button("Details", lambda: self._show_details(complaint.text))
        self._add_button("Copy", lambda: QgsApplication.clipboard().setText(complaint.command or complaint.text))
        self.notice.destroyed.connect(self._forget_notice)
        bar.pushWidget(self.notice, Qgis.MessageLevel.Warning)

    def _add_button(self, label, action):
        button = QPushButton(label, self.notice)
        button.clicked.connect(action)
        self.notice.layout().addWidget(button)

    def _forget_notice(self):
        self.notice = None

    def _show_details(self, text):
        viewer = QgsMessageViewer(self.iface.mainWindow())  # deletes itself when closed
        viewer.setWindowTitle("Fallkeeper")
        viewer.setMessageAsPlainText(text)
        viewer.resize(800, 400)
        viewer.showMessage(False)


def open_algorithm(name, parameters=None):
    """Open the dialog of one of the algorithms with what is known already."""
    from processing import execAlgorithmDialog

    execAlgorithmDialog(f"fallkeeper:{name}", parameters or {})
