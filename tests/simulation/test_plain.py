"""Compiled kernels against the scene as one writes it first."""

import numpy as np
import pytest
from made_simulation import STEEL, probe

from qualify.simulation.plain import plain_spectra
from qualify.simulation.reflectors import add_scene
from qualify.simulation.scene import Disc, Face, Hole, Pore, Scene
from qualify.simulation.simulate import bench_of

SCENES = {
    "holes": Scene(holes=(Hole(-2.0, 20.0, 1.0), Hole(4.0, 33.0, 2.0), Hole(0.3, 8.0, 0.3))),
    "pores": Scene(pores=(Pore(-4.0, 35.0, 0.3), Pore(1.0, 21.0, 0.6))),
    "discs": Scene(discs=(Disc(3.0, 25.0, 2.0),)),
    "face": Scene(faces=(Face(1.0, 30.0, 4.0, 31.5),)),
    "upright face": Scene(faces=(Face(1.0, 25.0, 0.5, 31.0),)),
    "notch": Scene(faces=(Face(6.0, 50.0, 6.5, 60.0, breaks_wall=True),), wall_mm=60.0),
    "wall": Scene(wall_mm=45.0),
}


@pytest.mark.parametrize("name", SCENES)
def test_kernels_are_the_plain_sum(name):
    """Every kind of target, all pairs, seven frequencies over the band: 3e-3 of the largest value
    at that frequency (single precision; elevation interpolated between ranges)."""
    bench = bench_of(probe(10), STEEL, 50.0, 1200)
    numbers = np.linspace(3, len(bench.k_per_mm) - 1, 7).astype(int)
    out = np.zeros((2, len(bench.one), len(bench.k_per_mm)), np.float32)
    add_scene(bench, SCENES[name], out)
    plain = plain_spectra(bench, SCENES[name], numbers)
    for matrix, number in zip(plain, numbers, strict=True):
        found = out[0, :, number] + 1j * out[1, :, number]
        wanted = matrix[bench.one, bench.other]
        assert np.abs(found - wanted).max() < 3e-3 * np.abs(wanted).max()
        assert np.allclose(matrix, matrix.T, rtol=0, atol=1e-9 * np.abs(matrix).max())
