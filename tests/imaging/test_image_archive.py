"""Images as a file: what is written reads back; what is no file of images is refused."""

import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))
from made import TOTAL, coherence, points

from qualify.errors import InputError
from qualify.imaging.focus import make_images
from qualify.imaging.grid import Grid
from qualify.imaging.image_archive import images_bytes, images_from_bytes
from qualify.recording.archive import recording_bytes

GRID = Grid.over((-3.0, 3.0), (10.0, 45.0), 0.5)


@pytest.fixture(scope="module")
def images():
    return make_images(points([[0.0, 20.0]], elements=8, samples=600), [TOTAL, coherence()], GRID)


def test_images_read_back_as_they_were(images):
    content = images_bytes(images)
    assert content == images_bytes(images)
    for found, known in zip(images_from_bytes(content, "images.h5"), images, strict=True):
        for name in ("values", "covered", "recorded"):
            np.testing.assert_array_equal(getattr(found, name), getattr(known, name))
        for name in (
            "unit", "grid", "mode", "method", "signal", "recording", "random_level", "random_99"
        ):  # fmt: skip
            assert getattr(found, name) == getattr(known, name)
    assert not images[0].covered.all()


def test_files_of_another_kind_and_damaged_ones_are_refused(images):
    content = images_bytes(images)
    with pytest.raises(InputError, match=r"images\.h5: is not an HDF5 file"):
        images_from_bytes(b"no", "images.h5")
    with pytest.raises(InputError, match=r"images\.h5: holds no images"):
        images_from_bytes(recording_bytes(points([[0.0, 20.0]], elements=2)), "images.h5")
    with pytest.raises(InputError, match=r"images\.h5: is damaged"):
        images_from_bytes(content[: len(content) // 2], "images.h5")
    at = content.index(images[0].values.tobytes()[:64])
    spoilt = bytearray(content)
    spoilt[at + 5] ^= 0x40
    with pytest.raises(InputError, match=r"images\.h5: is damaged"):
        images_from_bytes(bytes(spoilt), "images.h5")


def test_images_of_two_recordings_make_no_file(images):
    other = make_images(points([[1.0, 20.0]], elements=8, samples=600), [TOTAL], GRID)
    with pytest.raises(ValueError, match="of one recording"):
        images_bytes([*images, *other])
