"""The model in words: what it is, and what it leaves out."""

MODEL = "plane-section model of longitudinal waves in contact, single scattering, version 1"
LEFT_OUT = (
    "multiple scattering, and echoes between targets",
    "shadowing of one target by another, and of the back wall by targets",
    "shear and mode-converted waves as paths of their own",
    "waves along the faces of cracks: upright ones give a later echo as strong as their nearer tip",
    "lateral and surface waves along the scan face, so that no dead zone is told but of ring-down",
    "curvature of the wave on a target: near or large holes come out up to 2 dB low",
    "three-dimensional shape: holes and faces run straight across, pores and flat ends lie within",
    "curved, rough or corroded faces; the width of slots and notches",
    "anisotropy, texture, and attenuation that differs from place to place",
    "amplitudes of grain within the band: they are those of the centre frequency",
    "drift, jitter and quantisation of the instrument",
    "comparison with a measurement: none was made",
)
