"""Run by test_plugin.py in a Python of its own: the plugin in a QGIS whose Python lacks the engine's packages.

Prints what the message bar and the dock say, what Copy puts on the clipboard, and whether unloading leaves it empty.
"""

import importlib.abc
import sys
from pathlib import Path

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
    from qgis.PyQt.QtWidgets import QPushButton

    application = QgsApplication([], True)
    application.initQgis()
    from fallkeeper import classFactory
    from stand_in import StandIn

    iface = StandIn()
    bar = iface.bar

    plugin = classFactory(iface)
    plugin.initGui()
    item = bar.currentItem()
    print("bar:", item.text())
    buttons = {button.text(): button for button in item.findChildren(QPushButton)}
    buttons["Copy"].click()
    print("copied:", QgsApplication.clipboard().text())
    buttons["Details"].click()
    print("provider:", QgsApplication.processingRegistry().providerById("fallkeeper") is not None)
    print("dock:", plugin.dock._pages.currentWidget().text())
    plugin.unload()
    print("left:", QgsApplication.processingRegistry().providerById("fallkeeper"), bar.currentItem())
    iface.window.deleteLater()
    application.exitQgis()


if __name__ == "__main__":
    main()
