"""Photos go along with the rows that name them, and never over another file."""

from pathlib import Path

import pytest
from fallkeeper.plugin.sharing.bring_back import Change
from fallkeeper.plugin.sharing.photos import bring_photos, relative_path


@pytest.fixture
def folders(tmp_path):
    field, archive = tmp_path / "field", tmp_path / "archive"
    (field / "DCIM").mkdir(parents=True)
    archive.mkdir()
    (field / "DCIM" / "a.jpg").write_bytes(b"new")
    return field, archive


def changed(photo, key="R1"):
    return Change("readings", key, "update", {"photo": photo}, {})


def test_a_photo_is_copied_to_the_same_place(folders):
    field, archive = folders
    change = changed("DCIM/a.jpg")
    made, missing = bring_photos([change], field, archive)
    assert (archive / "DCIM" / "a.jpg").read_bytes() == b"new"
    assert (made, missing) == ([archive / "DCIM" / "a.jpg"], [])
    assert change.values["photo"] == "DCIM/a.jpg"
    assert bring_photos([changed("DCIM\\a.jpg")], field, archive)[0] == []


def test_another_photo_of_that_name_stays_and_the_new_one_gets_a_number(folders):
    field, archive = folders
    (archive / "DCIM").mkdir()
    (archive / "DCIM" / "a.jpg").write_bytes(b"old")
    change = changed("DCIM/a.jpg")
    bring_photos([change], field, archive)
    assert (archive / "DCIM" / "a.jpg").read_bytes() == b"old"
    assert (archive / "DCIM" / "a_2.jpg").read_bytes() == b"new"
    assert change.values["photo"] == "DCIM/a_2.jpg"


def test_a_photo_that_is_nowhere_is_told(folders):
    _, missing = bring_photos([changed("DCIM/b.jpg")], *folders)
    assert missing == ["The photo DCIM/b.jpg of readings R1 is not beside the copy."]


def test_a_photo_the_archive_has_already_is_not_missed(folders):
    field, archive = folders
    (archive / "old.jpg").write_bytes(b"x")
    assert bring_photos([changed("old.jpg")], field, archive) == ([], [])


@pytest.mark.parametrize("named", ["../a.jpg", "a/../../b.jpg", "/etc/a.jpg", "C:\\a.jpg", "C:a.jpg", "\\\\srv\\a.jpg",
                                   "https://example.org/a.jpg", "", " "])
def test_paths_that_lead_elsewhere_are_left_alone(named):
    assert relative_path(named) is None


def test_paths_below_the_folder():
    assert relative_path("DCIM\\sub\\a.jpg") == Path("DCIM", "sub", "a.jpg")
