"""What is asked of a lid gasket."""

from app.domain.inspections.part import REPLACE, WATCH, Condition, Part

LID_GASKET = Part(
    "lid_gasket",
    "Lid gasket",
    conditions=(
        Condition(
            "gasket_cracked",
            "Is it cracked, torn or hard?",
            REPLACE,
            "A cracked gasket lets vapour out.",
            "ELP",
            "2.0",
            "chemical",
        ),
        Condition(
            "gasket_swollen",
            "Is it so swollen or wavy that the lid does not lie flat?",
            REPLACE,
            "The lid does not close, so vapour and light get through.",
            "ELP",
            "1.4",
            "chemical",
        ),
        Condition(
            "gasket_gap",
            "Can a slip of paper be pulled out anywhere under the closed lid?",
            WATCH,
            "It seals less there. Clean both faces and check again.",
            "SER",
            "1.4",
            "wear_and_tear",
        ),
    ),
    sits={"tank": 20, "station": 60},
    place=50,
)
