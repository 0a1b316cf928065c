"""The plugin in the real QGIS desktop, as a user starts it."""

import desktop
import pytest

pytestmark = pytest.mark.skipif(not desktop.can_run, reason="needs the programs qgis and Xvfb (make test brings them)")

SAMPLE = """
import processing
from qgis.core import QgsApplication, QgsProject
from qgis.PyQt.QtWidgets import QDockWidget

provider = QgsApplication.processingRegistry().providerById("fallkeeper")
print("algorithms:", sorted(algorithm.name() for algorithm in provider.algorithms()))
print("notice:", plugin.notice)
toolbox = iface.mainWindow().findChild(QDockWidget, "ProcessingToolbox")
toolbox.show()
toolbox.raise_()
toolbox.searchBox.setText("fallkeeper")
picture("toolbox")
dialog = processing.createAlgorithmDialog("fallkeeper:traceupstream", {})
dialog.show()
picture("dialog", dialog)
dialog.close()

project = QgsProject.instance()
layers = {layer.source().partition("|layername=")[2]: layer for layer in project.mapLayers().values()}
print("not valid:", [layer.name() for layer in layers.values() if not layer.isValid()])
inputs = {"DRAINS": layers["drains"], "STRUCTURES": layers["structures"], "LAND": layers["land"]}
results = {"PIPES": "TEMPORARY_OUTPUT", "LAND_ABOVE": "TEMPORARY_OUTPUT"}
plug = "2101000,800905 [EPSG:3734]"
ran = processing.runAndLoadResults("fallkeeper:traceupstream", {**inputs, **results, "POINT": plug})
for key in results:
    loaded = project.mapLayer(ran[key])
    heads = [loaded.attributeDisplayName(index) for index in range(loaded.fields().count())]
    print(f"{key}:", loaded.renderer().type(), heads)
wait_for_map()
picture("traced")

from qgis.core import QgsPointXY
dock = plugin.dock
for _ in range(100):
    if dock.session.loaded is not None:
        break
    wait(0.1)
print("state:", dock.header._state.text())
dock.ask(dock.trace)
dock.trace.ask(QgsPointXY(2101000, 800905))
wait(1)
print("answer:", dock.trace.words.splitlines()[0])
picture("dock")
"""


def test_a_trace_on_the_sample_arrives_with_symbols_and_heads(tmp_path):
    from fallkeeper.plugin.qgis_layer.sample import copy_sample
    from fallkeeper.processing_algs.provider import ALGORITHMS

    outcome = desktop.run_desktop(tmp_path, SAMPLE, project=copy_sample(tmp_path / "sample"))
    assert outcome.passed, outcome.output
    assert f"algorithms: {sorted(algorithm().name() for algorithm in ALGORITHMS)}" in outcome.output
    assert "notice: None" in outcome.output
    assert "not valid: []" in outcome.output
    told = [line.split(": ", 1) for line in outcome.output.splitlines()]
    said = dict(parts for parts in told if parts[0] in ("PIPES", "LAND_ABOVE"))
    assert [layer.split()[0] for layer in said.values()] == ["RuleRenderer", "RuleRenderer"]
    assert "'Length (ft)'" in said["PIPES"] and "'Land above (acres)'" in said["PIPES"]
    assert "'Area (acres)'" in said["LAND_ABOVE"] and "'Owner'" in said["LAND_ABOVE"]
    assert "state: 155 drains, 134,900 ft, in 4 systems" in outcome.output
    assert "answer: Main A (A-1), 9+05 from the outlet" in outcome.output
    for name in ("toolbox", "dialog", "traced", "dock"):
        assert (outcome.out / f"{name}.png").stat().st_size > 10_000


RELOADED = """
import qgis.utils
from qgis.PyQt.QtCore import QCoreApplication, QEvent
from qgis.PyQt.QtWidgets import QDockWidget

def left():
    QCoreApplication.sendPostedEvents(None, QEvent.DeferredDelete)
    docks = [dock for dock in iface.mainWindow().findChildren(QDockWidget) if dock.objectName() == "FallkeeperDock"]
    actions = [action for action in iface.pluginToolBar().actions() if "allkeeper" in action.text()]
    return len(docks), len(actions), len(iface.mapCanvas().scene().items())

seen = []
for _ in range(5):
    qgis.utils.unloadPlugin("fallkeeper")
    wait(0.2)
    seen.append(left())
    qgis.utils.loadPlugin("fallkeeper")
    qgis.utils.startPlugin("fallkeeper")
    wait(0.2)
print("left:", sorted(set(seen)))
"""


def test_unloaded_five_times_it_leaves_nothing_behind(tmp_path):
    outcome = desktop.run_desktop(tmp_path, RELOADED)
    assert outcome.passed, outcome.output
    left = outcome.output.partition("left: ")[2].splitlines()[0]
    assert left.startswith("[(0, 0, ") and left.count("(") == 1, left


NOTICE = """
from qgis.core import QgsApplication
from qgis.gui import QgsMessageViewer
from qgis.PyQt.QtWidgets import QPushButton, QTextEdit

buttons = {button.text(): button for button in plugin.notice.findChildren(QPushButton)}
buttons["Copy"].click()
print("copied:", QgsApplication.clipboard().text())
buttons["Details"].click()
screen("notice")
viewer = iface.mainWindow().findChild(QgsMessageViewer)
print("details:", viewer.findChild(QTextEdit).toPlainText())
viewer.close()
"""


def test_a_shapely_that_is_too_old_is_named_in_the_message_bar(tmp_path):
    (tmp_path / "old" / "shapely").mkdir(parents=True)
    (tmp_path / "old" / "shapely" / "__init__.py").write_text("", encoding="utf-8")
    outcome = desktop.run_desktop(
        tmp_path, NOTICE, with_packages=False, environment={"PYTHONPATH": str(tmp_path / "old")}
    )
    assert outcome.passed, outcome.output
    copied, _, details = outcome.output.partition("copied: ")[2].partition("details: ")
    assert "pip install" in copied or "apt install" in copied
    assert "shapely (2 or newer) is too old" in details
