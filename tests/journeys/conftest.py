"""The demonstration study as folder, ready to be spoiled."""

import shutil
from pathlib import Path

import pytest

from qualify.demo.study_files import study_files
from qualify.files import write_folder


@pytest.fixture(scope="session")
def pristine(tmp_path_factory) -> Path:
    """The embedded study; never changed."""
    folder = tmp_path_factory.mktemp("demo") / "study"
    write_folder(folder, study_files(), mark="plan.toml")
    return folder


@pytest.fixture
def study(pristine, tmp_path) -> Path:
    """A copy of the embedded study."""
    return Path(shutil.copytree(pristine, tmp_path / "study"))
