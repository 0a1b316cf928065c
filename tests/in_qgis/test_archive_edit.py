"""Before an archive is changed as a whole: no layer of it may be in edit mode; afterwards the map shows the change."""

import pytest
from archives import copied_sample
from fallkeeper.plugin.history.batch import archive_batch
from fallkeeper.plugin.history.blobs import line_wkb
from fallkeeper.plugin.qgis_layer.archive import open_layer
from fallkeeper.plugin.qgis_layer.archive_edit import refuse_while_edited, show_changes, user_name
from fallkeeper.plugin.qgis_layer.archive_error import ArchiveError
from qgis.core import QgsProject

FAR = line_wkb([(2090000, 790000), (2090010, 790000)])


@pytest.fixture
def path(tmp_path):
    return copied_sample(tmp_path)


@pytest.fixture
def drains(qgis_new_project, path):
    opened = open_layer(path, "drains")
    QgsProject.instance().addMapLayer(opened)
    yield opened
    opened.rollBack()
    QgsProject.instance().clear()


def test_an_archive_is_left_alone_while_a_layer_of_it_is_edited(drains, path, tmp_path):
    project = QgsProject.instance()
    refuse_while_edited(path, project)
    assert drains.startEditing()
    with pytest.raises(ArchiveError, match=r"The layer 'Drains \(tile\)' of .* is in edit mode"):
        refuse_while_edited(path, project)
    other = tmp_path / "other"
    other.mkdir()
    refuse_while_edited(copied_sample(other), project)
    refuse_while_edited(path, None)
    drains.rollBack()
    refuse_while_edited(path, project)


def test_layers_show_what_was_written_into_their_file(drains, path):
    assert drains.featureCount() == 155
    with archive_batch(path, "merge", "one more", who=user_name()) as batch:
        key = batch.insert("drains", {"role": "main"}, FAR)
    show_changes(path, QgsProject.instance())
    assert drains.featureCount() == 156
    new = next(feature for feature in drains.getFeatures() if feature["drain_id"] == key)
    assert new.geometry().asWkt(0) == "LineString (2090000 790000, 2090010 790000)"
    assert new["edited_by"] == user_name() != ""
    assert drains.extent().xMinimum() == 2090000


def test_a_save_in_qgis_and_a_batch_lie_in_one_history(drains, path):
    assert drains.startEditing()
    first = next(drains.getFeatures())
    assert drains.changeAttributeValue(first.id(), drains.fields().indexOf("note"), "seen")
    assert drains.commitChanges(), drains.commitErrors()
    with archive_batch(path, "merge", "by batch") as batch:
        batch.update("drains", first["drain_id"], {"note": "merged"})
    last = sorted(open_layer(path, "history").getFeatures(), key=lambda entry: entry["seq"])[-2:]
    assert [(entry["key"], entry["action"]) for entry in last] == [(first["drain_id"], "update")] * 2
    assert '"note":null' in last[0]["before"]
    assert '"note":"seen"' in last[1]["before"]
    assert last[1]["batch"] == batch.id
