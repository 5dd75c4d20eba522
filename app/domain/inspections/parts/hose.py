"""What is asked of a hose."""

from app.domain.inspections.part import OUT, REPLACE, Condition, Part

HOSE = Part(
    "hose",
    "Hose",
    conditions=(
        Condition(
            "hose_cracked",
            "Does it show cracks where it is bent?",
            REPLACE,
            "A cracked hose bursts at the next drain.",
            "ELP",
            "2.0",
            "chemical",
        ),
        Condition(
            "hose_clamp",
            "Is a clamp loose, or missing?",
            REPLACE,
            "A hose that slips off empties the bath onto the floor.",
            "ELP",
            "1.5",
            "handling",
        ),
        Condition(
            "hose_stiff",
            "Is it hard, swollen or flattened?",
            REPLACE,
            "The bath has changed its material. It will crack or slip next.",
            "STD",
            "1.4",
            "chemical",
        ),
    ),
    sits={"tank": 70},
    place=220,
    full=(
        Condition(
            "hose_wet",
            "Is it wet outside, or one of its joints?",
            OUT,
            "A hose or joint that is wet under a full bath lets solvent out.",
            "ELP",
            "1.1",
            "chemical",
        ),
    ),
    refilled=(
        Condition(
            "hose_weeps",
            "Is a dry cloth around a joint damp after ten minutes?",
            OUT,
            "A joint that weeps will drip soon, with nobody beside it.",
            "ELP",
            "1.1",
            "handling",
        ),
    ),
)
