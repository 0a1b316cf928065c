"""The plugin object and its provider, loaded and unloaded as QGIS does it."""

import subprocess
import sys
from pathlib import Path

import pytest
from fallkeeper import classFactory
from fallkeeper.plugin.dependencies import Complaint
from fallkeeper.processing_algs.provider import ALGORITHMS
from qgis.core import QgsApplication
from qgis.gui import QgsGui
from qgis.PyQt.QtCore import QEvent
from qgis.PyQt.QtWidgets import QApplication, QWidget
from stand_in import StandIn

MISSING = Complaint("Something is missing", "Something is missing.\nInstall it.", "install it")


def registered():
    return QgsApplication.processingRegistry().providerById("fallkeeper")


@pytest.fixture
def iface(qgis_app):
    desktop = StandIn()
    yield desktop
    desktop.window.deleteLater()


@pytest.fixture
def window(iface):
    return iface.window


def test_without_a_desktop_the_provider_is_there(qgis_app):
    plugin = classFactory(None)
    plugin.initProcessing()
    provider = registered()
    assert provider.name() == "Fallkeeper"
    assert len(provider.algorithms()) == len(ALGORITHMS)
    assert not provider.icon().pixmap(24, 24).isNull()
    plugin.unload()
    assert registered() is None


@pytest.mark.parametrize("complaint", [None, MISSING])
def test_loading_and_unloading_leaves_nothing(qgis_app, iface, window, monkeypatch, complaint):
    monkeypatch.setattr("fallkeeper.plugin.dependencies.complaint", lambda profile_folder: complaint)
    before = set(window.findChildren(QWidget))
    for _ in range(5):
        plugin = classFactory(iface)
        plugin.initGui()
        assert registered() is not None
        assert (iface.messageBar().currentItem() is not None) == (complaint is not None)
        plugin.unload()
        assert registered() is None
        assert iface.messageBar().currentItem() is None
    QApplication.sendPostedEvents(None, QEvent.Type.DeferredDelete)
    assert set(window.findChildren(QWidget)) == before
    assert iface.actions == iface.options == iface.help.actions() == window.actions() == []
    assert not [action for action in QgsGui.shortcutsManager().listActions() if "fallkeeper" in action.objectName()]


def test_a_notice_the_user_has_dismissed_is_not_taken_away_again(qgis_app, iface, monkeypatch):
    monkeypatch.setattr("fallkeeper.plugin.dependencies.complaint", lambda profile_folder: MISSING)
    plugin = classFactory(iface)
    plugin.initGui()
    iface.messageBar().popWidget()
    QApplication.sendPostedEvents(None, QEvent.Type.DeferredDelete)
    assert plugin.notice is None
    plugin.unload()


def test_unloading_before_anything_was_loaded(qgis_app, iface):
    classFactory(iface).unload()


def test_with_everything_installed_nothing_is_said(qgis_app, iface):
    plugin = classFactory(iface)
    plugin.initGui()
    assert iface.messageBar().currentItem() is None
    plugin.unload()


def test_without_its_packages_the_plugin_loads_and_says_what_is_missing():
    script = Path(__file__).with_name("without_packages.py")
    result = subprocess.run([sys.executable, str(script)], capture_output=True, encoding="utf-8", timeout=120)
    assert result.returncode == 0, result.stderr
    said = result.stdout
    assert "bar: Python packages are missing: numpy, scipy, shapely, geopandas, networkx" in said
    assert "pip install" in said or "apt install" in said
    assert "provider: True" in said
    assert "dock: Fallkeeper needs Python packages that this QGIS does not have" in said
    assert "left: None None" in said
