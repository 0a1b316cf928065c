"""The plugin in the real QGIS desktop, as a user starts it."""

import desktop
import pytest

pytestmark = pytest.mark.skipif(not desktop.can_run, reason="needs the programs qgis and Xvfb (make test brings them)")

TOOLBOX = """
from qgis.core import QgsApplication
from qgis.PyQt.QtWidgets import QDockWidget
import processing

provider = QgsApplication.processingRegistry().providerById("fallkeeper")
print("algorithms:", sorted(algorithm.name() for algorithm in provider.algorithms()))
print("notice:", plugin.notice)
toolbox = iface.mainWindow().findChild(QDockWidget, "ProcessingToolbox")
toolbox.show()
toolbox.raise_()
toolbox.searchBox.setText("fallkeeper")
picture("toolbox")
for algorithm in provider.algorithms()[:1]:
    dialog = processing.createAlgorithmDialog(algorithm.id(), {})
    dialog.show()
    picture("dialog", dialog)
    dialog.close()
"""


def test_the_algorithms_stand_in_the_toolbox(tmp_path):
    from fallkeeper.processing_algs.provider import ALGORITHMS

    outcome = desktop.run_desktop(tmp_path, TOOLBOX)
    assert outcome.passed, outcome.output
    assert f"algorithms: {sorted(algorithm().name() for algorithm in ALGORITHMS)}" in outcome.output
    assert "notice: None" in outcome.output
    assert (outcome.out / "toolbox.png").stat().st_size > 10_000
    assert (outcome.out / "dialog.png").exists() == bool(ALGORITHMS)


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
