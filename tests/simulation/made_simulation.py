"""A probe, a solid and conditions for tests; invented."""

from qualify.recording.probe import Probe
from qualify.simulation.conditions import Conditions, Electronics, Grain, Receiver
from qualify.simulation.place import Place
from qualify.simulation.scene import Solid
from qualify.simulation.simulate import Simulator

STEEL = Solid(longitudinal_m_per_s=5920.0, shear_m_per_s=3255.0, attenuation_db_per_mm=0.01)
LOSSLESS = Solid(longitudinal_m_per_s=5920.0, shear_m_per_s=3255.0)
WAVE_MM = 5.92 / 5.0


def probe(elements=60, **more):
    """Return the array of the demonstration, or one with other elements."""
    given = {
        "name": "invented array",
        "elements": elements,
        "pitch_mm": 0.62,
        "element_width_mm": 0.52,
        "passive_width_mm": 11.0,
        "centre_mhz": 5.0,
        "bandwidth_fraction": 0.7,
    }
    return Probe(**(given | more))


def conditions(*, grain_db=None, noise_db=None, set_on_mm=60.0, **grain):
    """Return conditions with grain and noise of these levels, or none."""
    return Conditions(
        receiver=Receiver(set_on_wall_mm=set_on_mm),
        grain=None if grain_db is None else Grain(backscatter_db=grain_db, **grain),
        electronics=Electronics(noise_db=noise_db),
    )


def place(x_mm=450.0, *, block="made", thickness_mm=60.0, length_mm=900.0):
    """Return a place on a long plate."""
    return Place(block, "A", x_mm, 15.0, -x_mm, length_mm - x_mm, thickness_mm)


def simulator(array=None, *, solid=STEEL, under=None, samples=1024, seed=1, full=False):
    """Return a simulator at 50 MHz."""
    return Simulator(array or probe(), solid, under or conditions(), 50.0, samples, seed, full=full)
