"""Run by test_plugin.py in a Python of its own: the plugin in a QGIS whose Python lacks the engine's packages.

Prints what the message bar says, what Copy puts on the clipboard, and whether unloading leaves it empty.
"""

import importlib.abc
import sys
from pathlib import Path
from types import SimpleNamespace

HIDDEN = {"numpy", "scipy", "shapely", "geopandas", "pandas", "networkx"}


class Hide(importlib.abc.MetaPathFinder):
    def find_spec(self, name, path=None, target=None):
        if name.split(".")[0] in HIDDEN:
            raise ModuleNotFoundError(f"No module named {name!r}", name=name)
        return None


def main():
    sys.meta_path.insert(0, Hide())
    sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

    import conftest  # noqa: F401 (makes the checkout importable)
    from qgis.core import QgsApplication
    from qgis.gui import QgsMessageBar
    from qgis.PyQt.QtWidgets import QMainWindow, QPushButton

    application = QgsApplication([], True)
    application.initQgis()
    window = QMainWindow()
    bar = QgsMessageBar(window)
    iface = SimpleNamespace(mainWindow=lambda: window, messageBar=lambda: bar)

    from fallkeeper import classFactory

    plugin = classFactory(iface)
    plugin.initGui()
    item = bar.currentItem()
    print("bar:", item.text())
    buttons = {button.text(): button for button in item.findChildren(QPushButton)}
    buttons["Copy"].click()
    print("copied:", QgsApplication.clipboard().text())
    buttons["Details"].click()
    print("provider:", QgsApplication.processingRegistry().providerById("fallkeeper") is not None)
    plugin.unload()
    print("left:", QgsApplication.processingRegistry().providerById("fallkeeper"), bar.currentItem())
    window.deleteLater()
    application.exitQgis()


if __name__ == "__main__":
    main()
