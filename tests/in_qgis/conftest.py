"""Fixtures of tests with QGIS."""

import shutil
from pathlib import Path

import docks
import layout_files
import pytest
import shared_places
from algorithm_runs import provided
from database_places import new_place
from fallkeeper.plugin.gui.dock import FallkeeperDock
from fallkeeper.plugin.qgis_layer import layout_file
from fallkeeper.plugin.qgis_layer.archive import create_archive
from fallkeeper.plugin.qgis_layer.project import add_archive
from fallkeeper.plugin.qgis_layer.sample import copy_sample
from qgis.core import QgsCoordinateReferenceSystem, QgsProject
from qgis.PyQt.QtCore import QCoreApplication, QEvent
from stand_in import StandIn


@pytest.fixture(scope="module")
def provider(qgis_app, qgis_processing):
    """The algorithms, registered with QGIS while the tests of a module run."""
    with provided() as registered:
        yield registered


@pytest.fixture(scope="module")
def quick_archives(tmp_path_factory):
    """An import copies an empty archive made once, instead of making one each time."""
    quick = layout_files.QuickArchives(layout_file.create_archive, tmp_path_factory.mktemp("archives"))
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(layout_file, "create_archive", quick)
        yield


@pytest.fixture(scope="session")
def empty_file(qgis_app, tmp_path_factory):
    """An archive without a row, to be copied."""
    made = tmp_path_factory.mktemp("empty") / "county.gpkg"
    create_archive(made, QgsCoordinateReferenceSystem(shared_places.FEET))
    return made


@pytest.fixture(params=["database", "file"])
def shared_place(qgis_app, request, tmp_path, empty_file):
    """An archive with three drains in a database, and in a file."""
    if request.param == "file":
        made = Path(shutil.copy(empty_file, tmp_path))
    else:
        made = new_place(request.getfixturevalue("database_server"))
    shared_places.fill(made)
    return made


@pytest.fixture
def desktop(qgis_app):
    """A stand-in for the desktop, empty."""
    QgsProject.instance().clear()
    made = StandIn()
    made.window.show()
    yield made
    QgsProject.instance().clear()


@pytest.fixture
def opened(desktop):
    """Opens docks and closes them for good; `asked`: algorithms whose dialogs were opened."""
    made, asked = [], []

    def open_dock(complaint=""):
        made.append(FallkeeperDock(desktop, lambda *what: asked.append(what), complaint))
        made[-1].asked = asked
        return made[-1]

    yield open_dock
    for dock in made:
        dock.close_for_good()
        dock.deleteLater()
    QCoreApplication.sendPostedEvents(None, QEvent.Type.DeferredDelete)


@pytest.fixture
def archive(tmp_path):
    """A copy of the sample."""
    return copy_sample(tmp_path / "sample").with_name("ossel_flats.gpkg")


@pytest.fixture
def dock(opened, desktop, archive):
    """On the sample, read; the map shows main A with its laterals."""
    layers = add_archive(QgsProject.instance(), archive)
    desktop.canvas.setDestinationCrs(layers["drains"].crs())
    desktop.canvas.setExtent(docks.extent(-200, -200, 2200, 2400))
    made = opened()
    docks.until(lambda: made.session.loaded is not None)
    return made
