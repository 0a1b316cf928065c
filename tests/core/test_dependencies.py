"""What the plugin says about packages that are missing, for each kind of computer."""

import sys
from importlib.util import find_spec
from pathlib import Path
from types import ModuleType

import pytest
from fallkeeper.plugin import dependencies
from fallkeeper.plugin.dependencies import NEEDED, Host, Missing, explain, install_commands, missing_packages

SHAPELY = next(package for package in NEEDED if package.name == "shapely")
NETWORKX = next(package for package in NEEDED if package.name == "networkx")
LACKING = [Missing(SHAPELY, "is too old"), Missing(NETWORKX, "is not installed")]


def host(**changes):
    facts = {
        "system": "linux",
        "python": "/opt/python3.11",
        "python_version": (3, 11),
        "has_apt": True,
        "has_pip": True,
        "in_flatpak": False,
        "profile_python": Path("profile folder") / "python",
        "numpy_version": "1.24.2",
    }
    return Host(**{**facts, **changes})


def test_nothing_is_missing_in_the_test_environment():
    assert missing_packages() == []
    assert dependencies.complaint(Path("profile")) is None


def test_a_package_that_cannot_be_found(monkeypatch):
    monkeypatch.setitem(sys.modules, "networkx", None)  # makes import and search fail
    assert [(one.package.name, one.why) for one in missing_packages()] == [("networkx", "is not installed")]


def test_a_shapely_without_the_functions_of_version_2(monkeypatch):
    old = ModuleType("shapely")
    old.__spec__ = find_spec("shapely")
    monkeypatch.setitem(sys.modules, "shapely", old)
    assert [(one.package.name, one.why) for one in missing_packages()] == [("shapely", "is too old")]


def test_a_package_that_breaks_when_loaded(monkeypatch):
    def broken(name):
        raise ImportError("built for another numpy")

    monkeypatch.setattr(dependencies.importlib, "import_module", broken)
    assert [one.why for one in missing_packages()] == ["cannot be loaded (built for another numpy)"]


def test_debian_12_gets_pip_beside_the_profile_and_keeps_its_numpy():
    target = Path("profile folder") / "python"
    assert install_commands(LACKING, host()) == [
        f'/opt/python3.11 -m pip install --target "{target}" "numpy==1.24.2" "shapely>=2" "networkx>=2.8"'
    ]


def test_without_pip_the_first_command_brings_it():
    assert install_commands(LACKING, host(has_pip=False))[0] == "sudo apt install python3-pip"


def test_newer_debian_gets_its_own_packages():
    commands = install_commands(LACKING, host(python_version=(3, 13)))
    assert commands == ["sudo apt install python3-shapely python3-networkx"]


def test_windows_gets_pip_in_the_shell_of_its_qgis():
    windows = host(system="win32", has_apt=False)
    assert install_commands(LACKING, windows) == [
        'python -m pip install "numpy==1.24.2" "shapely>=2" "networkx>=2.8"'
    ]
    assert "OSGeo4W Shell" in explain(LACKING, windows).text


def test_no_numpy_no_pin():
    assert "numpy==" not in install_commands(LACKING, host(numpy_version=""))[0]


@pytest.mark.parametrize("closed", [{"system": "darwin"}, {"in_flatpak": True}])
def test_where_there_is_no_way_the_text_says_so(closed):
    said = explain(LACKING, host(**closed))
    assert "no supported way" in said.text
    assert "pip install" not in said.text
    assert said.command == ""


def test_the_text_names_what_is_missing_why_what_still_works_and_what_to_do():
    said = explain(LACKING, host())
    assert said.summary == "Python packages are missing: shapely, networkx"
    assert "- shapely (2 or newer) is too old" in said.text
    assert "- networkx (2.8 or newer) is not installed" in said.text
    assert "The archive, its forms and styles do." in said.text
    assert said.command.endswith('"networkx>=2.8"')
    assert said.command in said.text
