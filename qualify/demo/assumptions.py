"""The numbers of the models of readers, in one place. All of them are invented.

They were set before any blind image was read; open images had been looked at by rule before. No
number and no seed was changed for a verdict.
A reader waits for a little more than the rule does: in grain, a threshold one decibel lower is
reached tens of times as often, so that a reader who waits for no more would call every other unit.
"""

from typing import Any

READERS: dict[str, dict[str, Any]] = {
    "R1": {
        "caution_db": 0.6,
        "scatter_db": 0.5,
        "lapse_fraction": 0.01,
        "x_sd_mm": 0.6,
        "z_sd_mm": 0.4,
        "slip_fraction": 0.01,
        "size_sd_fraction": 0.08,
        "unsized_fraction": 0.04,
        "given_up_fraction": 0.002,
    },
    "R2": {
        "caution_db": 1.0,
        "scatter_db": 0.6,
        "lapse_fraction": 0.01,
        "x_sd_mm": 0.7,
        "z_sd_mm": 0.5,
        "slip_fraction": 0.01,
        "size_sd_fraction": 0.10,
        "unsized_fraction": 0.06,
        "given_up_fraction": 0.004,
        "bands_in": "linear",
    },
    "R3": {
        "caution_db": 1.6,
        "scatter_db": 0.8,
        "lapse_fraction": 0.02,
        "x_sd_mm": 0.9,
        "z_sd_mm": 0.6,
        "slip_fraction": 0.01,
        "size_sd_fraction": 0.12,
        "unsized_fraction": 0.08,
        "given_up_fraction": 0.004,
    },
}
