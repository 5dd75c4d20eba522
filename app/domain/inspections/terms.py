"""Words of ISO 14224:2016 that findings are kept in, apart: mode (seen), mechanism, cause.

Numbers of group 5 and the modes LOO, STD, PDE, NOI, OHE are from memory; the rest from Table B.2
and B.15.
"""

from collections.abc import Mapping

from app.domain.inspections.parts import PARTS

MODES: Mapping[str, str] = {
    "ELP": "external leakage of what is processed",
    "STD": "structural deficiency",
    "LOO": "low output",
    "PDE": "reading off",
    "PLU": "plugged or choked",
    "SER": "minor, in service",
    "FTF": "does not work on demand",
    "ERO": "output comes and goes",
    "NOI": "noise",
    "OHE": "overheating",
}
MECHANISMS: Mapping[str, str] = {
    "1.1": "leakage",
    "1.4": "deformation",
    "1.5": "looseness",
    "1.6": "sticking",
    "2.0": "material, general",
    "2.4": "wear",
    "2.5": "breakage",
    "2.6": "fatigue",
    "4.0": "electrical, general",
    "5.1": "blockage",
    "5.2": "contamination",
}
CAUSES: Mapping[str, str] = {
    "wear_and_tear": "expected wear and tear",
    "chemical": "off-design service: the material does not withstand this bath",
    "fillers": "off-design service: hard fillers of resins",
    "cured_film": "operating: cured resin left on it",
    "dry_running": "operating: run dry",
    "handling": "maintenance: taken out or fitted with force",
}
PART_NAMES: Mapping[str, str] = {key: part.name for key, part in PARTS.items()}
VERDICT_NAMES: Mapping[str, str] = {
    "serviceable": "Serviceable",
    "not_seen": "Not seen",
    "watch": "Watch",
    "replace": "Replace",
    "replace_with_mate": "Replace with its mate",
    "take_out_of_service": "Take out of service",
}
