"""Test data from outside the project (DEVELOPERS.md): named by the environment, or the tests that need it are left out.

The reason to leave them out: open data and the generator of counties are large, are kept apart, and nobody must need
them to work on the plugin. What is named has to be there: a wrong name fails, so that no run leaves tests out unseen.
"""

from __future__ import annotations

import os
from pathlib import Path

import pytest

DATA, GENERATOR = "FALLKEEPER_TEST_DATA", "FALLKEEPER_COUNTY_GENERATOR"


def data_folder() -> Path | None:
    """The folder with open data; None where none is named."""
    named = os.environ.get(DATA)
    return Path(named) if named else None


def data_file(name: str) -> Path:
    """A file of the open data."""
    folder = data_folder()
    if folder is None:  # a checkout alone: the data are not part of the project, and under terms of their own
        pytest.skip(f"Open data is kept apart: set {DATA} to the folder that holds {name}.")
    assert (folder / name).is_file(), f"{DATA} names {folder}, which holds no {name}"
    return folder / name


def county_generator() -> str:
    """The script that makes a county."""
    named = os.environ.get(GENERATOR)
    if not named:  # a checkout alone: the script is not part of the project either
        pytest.skip(f"The generator of counties is kept apart: set {GENERATOR} to the script.")
    assert Path(named).is_file(), f"{GENERATOR} names {named}, which is no file"
    return named
