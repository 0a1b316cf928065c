"""Fixtures of tests with QGIS."""

import layout_files
import pytest
from algorithm_runs import provided
from fallkeeper.plugin.qgis_layer import layout_file


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
