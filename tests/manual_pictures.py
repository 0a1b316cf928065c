"""Makes the pictures of the manual from the real desktop:  manual_pictures.py FOLDER [--scale 2] [--dark]

To be run after the panels changed; look at every picture before it is committed. With --scale or --dark: to see whether
all can be read so.
"""

from __future__ import annotations

import argparse
import shutil
import sys
import tempfile
from pathlib import Path

import conftest  # noqa: F401 (makes the checkout importable)
import desktop

FIRST = """
plugin.dock.show()
plugin.dock.raise_()
wait(0.5)
picture("first_page", plugin.dock)
"""

STEPS = """
from qgis.core import QgsPointXY, QgsRectangle
from qgis.PyQt.QtCore import Qt
from qgis.PyQt.QtWidgets import QDockWidget

dock = plugin.dock
window = iface.mainWindow()
for name in ("Browser", "Layers"):
    found = window.findChild(QDockWidget, name)
    if found is not None:
        found.hide()
dock.show()
dock.raise_()
window.resizeDocks([dock], [470], 1)  # a horizontal split
iface.messageBar().clearWidgets()

def until(true):
    for _ in range(200):
        if true():
            return
        wait(0.1)

until(lambda: dock.session.loaded is not None)
iface.mapCanvas().setExtent(QgsRectangle(2099900, 799850, 2102050, 802400))
wait_for_map()
dock.ask(dock.trace)
dock.trace.ask(QgsPointXY(2101000, 800905))
until(lambda: dock.trace.words)
wait_for_map()
iface.messageBar().clearWidgets()
wait(0.3)
smooth = Qt.TransformationMode.SmoothTransformation
window.grab().scaledToWidth(1000, smooth).save(str(out / "desktop.png"))
picture("trace", dock)
dock._choose_layers.trigger()
wait(0.3)
picture("layers", dock)
dock.layers_page.left.emit()
dock.ask(dock.findings)
dock.findings.check()
until(lambda: dock.session.findings is not None)
model, tree = dock.findings._model, dock.findings._tree
group = next(model.index(k, 0) for k in range(model.rowCount()) if model.check_at(model.index(k, 0)) == "near-trees")
tree.expand(group)
tree.setCurrentIndex(model.index(0, 0, group))
dock.findings.show_place()
wait_for_map()
wait(0.3)
picture("findings", dock)
from fallkeeper.plugin.gui import accept_fix
accept_fix.user_name = lambda: "H. Marlow"
accept = dock.findings._accept
accept.begin()
accept._reason.setText("Grubbed in spring, stumps are out")
accept.accept()
until(lambda: model.check_at(model.index(model.rowCount() - 1, 0)) == "accepted")
group = model.index(model.rowCount() - 1, 0)
tree.expand(group)
tree.setCurrentIndex(model.index(0, 0, group))
tree.scrollToBottom()
wait(0.3)
picture("accepted", dock)
dock.session.archive.layers["accepted"].rollBack()
dock.ask(dock.write_down)
iface.mapCanvas().setExtent(QgsRectangle(2100700, 800550, 2101300, 800950))
wait_for_map()
down = dock.write_down
down._call.want("C-1")
down._depth.setText("40 in")
down._choices.buttons["probe_hit"].click()
down.put(QgsPointXY(2101000, 800725))
wait(0.5)
picture("write_down", dock)
dock.session.archive.layers["readings"].rollBack()
from fallkeeper.plugin.gui.options_page import OptionsPage
page = OptionsPage()
page.resize(620, 480)
page.show()
wait(0.3)
picture("settings", page)
page.close()
dock.open_manual()
wait(0.5)
from fallkeeper.plugin.gui.manual import Manual
picture("manual", window.findChild(Manual))
"""

DARK = """
from qgis.core import QgsApplication
QgsApplication.setUITheme("Night Mapping")
wait(0.5)
"""


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--scale", type=float, default=1.0)
    parser.add_argument("--dark", action="store_true")
    given = parser.parse_args()
    from fallkeeper.plugin.qgis_layer.sample import copy_sample

    given.folder.mkdir(parents=True, exist_ok=True)
    environment = {"QT_SCALE_FACTOR": str(given.scale)}
    with tempfile.TemporaryDirectory() as folder:
        work = Path(folder)
        (work / "first").mkdir()
        sample = copy_sample(work / "sample")
        dark = DARK if given.dark else ""
        runs = [desktop.run_desktop(work / "first", dark + FIRST, environment=environment),
                desktop.run_desktop(work / "rest", dark + STEPS, project=sample, environment=environment, limit_s=300)]
        for run in runs:
            for picture in run.out.glob("*.png"):
                shutil.copy(picture, given.folder)
            if not run.passed:
                print(run.output, file=sys.stderr)
        return 0 if all(run.passed for run in runs) else 1


if __name__ == "__main__":
    sys.exit(main())
