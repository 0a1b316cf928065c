"""Stands in for the QGIS desktop: the part of its interface that the plugin asks for."""

from qgis.gui import QgsAdvancedDigitizingDockWidget, QgsMapCanvas, QgsMessageBar
from qgis.PyQt.QtWidgets import QMainWindow, QMenu


class StandIn:
    def __init__(self):
        self.window = QMainWindow()
        self.canvas = QgsMapCanvas(self.window)
        self.bar = QgsMessageBar(self.window)
        self.cad = QgsAdvancedDigitizingDockWidget(self.canvas, self.window)
        self.window.setCentralWidget(self.canvas)
        self.window.resize(900, 700)
        self.actions = []  # in the tool bar and in the menu
        self.help = QMenu(self.window)
        self.options = []  # factories of pages of options
        self.forms = []  # layer and row of forms that were opened

    def mainWindow(self):
        return self.window

    def mapCanvas(self):
        return self.canvas

    def messageBar(self):
        return self.bar

    def said(self):
        """The last sentence in the message bar."""
        return self.bar.currentItem().text() if self.bar.currentItem() is not None else ""

    def cadDockWidget(self):
        return self.cad

    def addDockWidget(self, area, dock):
        self.window.addDockWidget(area, dock)

    def removeDockWidget(self, dock):
        self.window.removeDockWidget(dock)

    def addToolBarIcon(self, action):
        self.actions.append(("bar", action))

    def removeToolBarIcon(self, action):
        self.actions.remove(("bar", action))

    def addPluginToMenu(self, menu, action):
        self.actions.append((menu, action))

    def removePluginMenu(self, menu, action):
        self.actions.remove((menu, action))

    def openFeatureForm(self, layer, feature, update_only, show_modal):
        self.forms.append((layer, feature))

    def pluginHelpMenu(self):
        return self.help

    def registerOptionsWidgetFactory(self, factory):
        self.options.append(factory)

    def unregisterOptionsWidgetFactory(self, factory):
        self.options.remove(factory)
