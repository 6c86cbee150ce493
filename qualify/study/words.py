"""Explanations of the cells and keys a user fills in.

Plan, declaration and data sources explain their fields themselves; the words for blocks,
targets, sets, key and call sheets stand here. Templates, TOML files and the workbook print
them.
"""

from pydantic import BaseModel

_ACROSS = {
    "y_from_mm": "where it begins across the block, mm from edge L",
    "y_to_mm": "where it ends across the block, mm from edge L",
}
_POINT = {"y_centre_mm": "its centre across the block, mm from edge L"}
_WIDTH = {"width_mm": "width of the gap, mm"}

WORDS: dict[str, dict[str, str]] = {
    "Block": {
        "format": "version of this layout; leave it at 1",
        "id": "id of the block: letters, digits, dot, hyphen, underscore",
        "revision": "revision of the block's definition",
        "title": "what it is, in a few words",
        "purpose": "what it is for; a set-up block is never a block for POD",
        "provenance": "who made it, from which plate or heat, and how it was made",
        "mass_kg": "mass in kg; above 25 kg lift it with two people or a hoist",
        "scan_surface": "the face the probe stands on: A, or B",
        "finish": "surface finish of the scan face",
        "material": "material",
        "outline": "outline",
        "datum": "datum",
        "blank_check": "check of the unflawed volume",
        "grading_units": "stretches along x that each get one verdict; blank or flawed "
        "follows from the targets. Leave guard lengths between them",
        "targets": "the targets as built",
    },
    "Material": {
        "name": "material and condition",
        "density_kg_per_m3": "density, kg/m³",
        "density_u_kg_per_m3": "standard uncertainty of the density, kg/m³",
        "longitudinal_m_per_s": "velocity of longitudinal waves, m/s, measured on this material",
        "longitudinal_u_m_per_s": "its standard uncertainty, m/s",
        "shear_m_per_s": "velocity of shear waves, m/s, measured on this material",
        "shear_u_m_per_s": "its standard uncertainty, m/s",
        "attenuation_db_per_mm": "attenuation, dB/mm, one way",
        "attenuation_at_mhz": "frequency at which the attenuation was measured, MHz",
        "grain_noise": "grain noise, in words",
    },
    "FlatOutline": {
        "shape": "shape; only flat plates so far",
        "length_mm": "length along x, mm",
        "width_mm": "width along y, mm",
        "thickness_mm": "thickness along z, mm, as measured",
        "tolerance_mm": "tolerance of these three, ± mm",
    },
    "Datum": {
        "corner": "where x = y = z = 0 lies on the piece, with its engraved mark",
        "x_along": "which way x runs",
        "y_across": "which way y runs",
    },
    "BlankCheck": {
        "method": "method that showed the unflawed volume to be unflawed",
        "report": "its report",
        "smallest_detectable_mm": "smallest flaw that method would have found, mm",
        "checked_on": "day of the check",
    },
    "GradingUnit": {
        "id": "id of the unit, unique in the block",
        "x_from_mm": "where it begins, mm from the datum",
        "x_to_mm": "where it ends, mm from the datum",
    },
    "TargetBase": {
        "id": "id of the target, unique in the block",
        "kind": "kind of target; each kind is analysed apart",
        "x_mm": "x of its centre, mm from the datum",
        "z_mm": "depth of its centre below face A, mm (notch: middle of its height; "
        "flat-bottomed hole: its flat end)",
        "position_u_mm": "standard uncertainty of its position, mm",
        "note": "a remark",
    },
    "SideDrilledHole": {**_ACROSS, "diameter_mm": "diameter, mm"},
    "EmbeddedSlot": {
        **_ACROSS,
        **_WIDTH,
        "extent_mm": "extent along its face, mm",
        "tilt_deg": "tilt, degrees; notch: from the normal of the scan face, slot: from the "
        "scan face itself",
    },
    "Notch": {
        **_POINT,
        **_WIDTH,
        "face": "the face it is open to",
        "along": "the direction it runs in",
        "length_mm": "length, mm",
        "height_mm": "height through the wall, projected on z, mm",
        "tilt_deg": "tilt, degrees; notch: from the normal of the scan face, slot: from the "
        "scan face itself",
    },
    "FlatBottomedHole": {**_POINT, "diameter_mm": "diameter, mm"},
    "PoreCluster": {
        **_ACROSS,
        "band_thickness_mm": "thickness of the band, mm",
        "areal_fraction": "share of the area taken by pores, 0 to 1",
        "length_mm": "length, mm",
    },
    "Quantity": {
        "nominal": "drawing value",
        "measured": "as-built value; this one counts",
        "u": "standard uncertainty. Give u, or U and k, or a tolerance",
        "U": "expanded uncertainty, together with k",
        "k": "coverage factor of U",
        "tolerance": "half width of the tolerance, where nothing better is known",
        "method": "how it was measured; never by ultrasonics where ultrasonic sizing is judged",
        "certificate": "certificate of the measurement",
        "waiver": "why a drawing value may stand in, if nothing was measured; it is printed",
    },
    "SetRow": {
        "target": "id of the target",
        "block": "id of its block",
        "set": "setup, open, blind or reserve",
        "from_date": "first day in this set",
        "until_date": "last day in this set, empty while it is still in it",
    },
    "KeyRow": {
        "code": "the blind code the readers saw",
        "block": "id of the block behind it",
        "flipped": "yes if it lay turned end for end, so that x and y ran the other way",
        "datum_offset_mm": "distance from the block's end to the datum as presented, mm",
    },
    "CallRow": {
        "reader": "reader's id, coded",
        "mode": "id of the mode",
        "repeat": "1 = first reading, 2 = repeat under another code",
        "code": "blind code of the piece",
        "unit": "number of the unit, counted from the presented datum, from 1",
        "verdict": "indication, nothing_found or not_examined; every unit that was looked at "
        "has at least one row",
        "x_mm": "mm from the presented datum; only for an indication",
        "y_mm": "mm across, if reported",
        "z_mm": "depth below the scan face, mm",
        "length_x_mm": "length along x, mm, if reported",
        "size_mm": "reported size, mm",
        "size_method": "how it was sized; needed where a size stands",
        "response": "strength of the indication",
        "response_unit": "db, linear (amplitude) or coherence (0 to 1)",
        "confidence": "1 (doubtful) to 5 (certain), if reported",
        "cause": "what the reader takes it for",
        "software": "software revision of the reading",
        "read_on": "day of the reading",
        "call_id": "id of this row, if a later row corrects it",
        "corrects": "call_id of the earlier row that this row replaces",
        "comment": "a remark",
        "re_reading": "yes if this row is the remedy of a deviation, read again later",
    },
    "Plan": {
        "format": "version of this layout; leave it at 1",
        "claim": "what the study sets out to show",
        "matching": "how a call becomes a hit",
        "not_examined": "units that were not examined",
        "analysis": "primary model",
        "modes": "the imaging modes as read in the trial",
        "populations": "the kinds of target, each analysed apart",
        "criteria": "the acceptance criteria, one clause a row. No limit comes with the tool: "
        "state yours and its source",
    },
    "Declaration": {
        "format": "version of this layout; leave it at 1",
        "scope": "component in scope",
        "parties": "the organisations, by coded name",
        "roles": "who held which role and what that person knew",
        "readers": "competence and practice of the readers",
        "worst_cases": "worst-case defects and what the trial holds for each",
        "variables": "procedure variables with what is qualified, allowed and used",
        "equipment": "equipment and its checks",
        "software": "software revision at each stage",
        "events": "what happened and when, as somebody declares it",
        "remedies": "what was done about deviations, and who signed",
        "transfer": "from these blocks to the component and to real damage, leg by leg",
    },
    "Probe": {
        "name": "coded name of the array",
        "elements": "elements",
        "pitch_mm": "from the centre of an element to the centre of the next, mm",
        "element_width_mm": "width of an element along the array, mm",
        "passive_width_mm": "length of an element across the array, mm",
        "centre_mhz": "centre frequency, MHz",
        "bandwidth_fraction": "-6 dB bandwidth of the pulse-echo response over its centre, 0 to 2",
    },
    "Medium": {
        "longitudinal_m_per_s": "velocity of longitudinal waves, m/s, measured on this block",
        "longitudinal_u_m_per_s": "its standard uncertainty, m/s",
        "thickness_mm": "thickness, mm, where a back wall parallel to the scan face is to be seen; "
        "without it neither back wall nor start time are checked",
    },
    "DataSources": {
        "format": "version of this layout; leave it at 1",
        "call_sheets": "the readers' call sheets",
        "tables": "finished tables from elsewhere, instead of blocks, key and call sheets",
    },
}


def explanation(model: type[BaseModel], field: str) -> str:
    """Return the explanation of a model's field, empty where there is none."""
    told = model.model_fields[field].description
    if told:
        return told
    for kind in model.__mro__:
        words = WORDS.get(kind.__name__, {})
        if field in words:
            return words[field]
    return ""
