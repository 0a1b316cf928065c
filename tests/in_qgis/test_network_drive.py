"""A GeoPackage on a network drive is warned of, one on a disk is not."""

from pathlib import Path

import pytest
from algorithm_runs import Heard, provided
from fallkeeper.plugin.qgis_layer import network_drive
from fallkeeper.plugin.qgis_layer.network_drive import is_on_network, means_network, network_warning


@pytest.mark.parametrize("path", [r"\\server\county\drains.gpkg", "//server/county/drains.gpkg",
                                  r"\\?\UNC\server\county\drains.gpkg"])
def test_shares_of_windows(path):
    assert is_on_network(Path(path)) or network_drive._SHARE.match(path)


@pytest.mark.parametrize("path", [r"\\?\Volume{1-2}\drains.gpkg", "/srv/drains.gpkg", r"C:\drains.gpkg"])
def test_no_shares(path):
    assert not network_drive._SHARE.match(path)


@pytest.mark.parametrize(("file_system", "device", "network"), [
    ("nfs4", "server:/county", True), ("cifs", "//server/county", True), ("fuse.sshfs", "office@server:", True),
    ("smbfs", "", True), ("NTFS", r"\\server\county", True), ("ext4", "/dev/vda", False),
    ("NTFS", r"\\?\Volume{1}", False), ("tmpfs", "tmpfs", False), ("fuse.portal", "portal", False), ("", "", False),
])
def test_what_the_system_says_of_a_drive(file_system, device, network):
    assert means_network(file_system, device) is network


def test_a_file_that_is_not_there_yet_is_judged_by_its_folder(tmp_path):
    assert not is_on_network(tmp_path / "no" / "such" / "drains.gpkg")
    assert network_warning(tmp_path / "drains.gpkg") == ""


def test_createarchive_warns_and_goes_on(qgis_processing, tmp_path, monkeypatch):
    import processing

    monkeypatch.setattr(network_drive, "is_on_network", lambda path: True)
    path, heard = tmp_path / "drains.gpkg", Heard()
    with provided():
        processing.run("fallkeeper:createarchive", {"CRS": "EPSG:3734", "OUTPUT": str(path)}, feedback=heard)
    assert path.exists()
    assert "keep it on a disk" in heard.sentence_with("lies on a network drive").lower()
