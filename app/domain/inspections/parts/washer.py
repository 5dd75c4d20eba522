"""What is asked of a washer."""

from app.domain.inspections.part import MATE, WATCH, Condition, Part

WASHER = Part(
    "washer",
    "Washer",
    conditions=(
        Condition(
            "washer_lobe_broken",
            "Is a lobe broken off?",
            MATE,
            "Replace a washer with a broken lobe together with its impeller.",
            "STD",
            "2.5",
            "wear_and_tear",
        ),
        Condition(
            "washer_lobe_cracked",
            "Is a connection between lobe and ring cracked?",
            MATE,
            "Cracked connections break next. Replace it together with its impeller.",
            "STD",
            "2.6",
            "wear_and_tear",
        ),
        Condition(
            "washer_worn",
            "Can you see a track worn into its face?",
            WATCH,
            "A track deepens. Check it again at the next swap.",
            "SER",
            "2.4",
            "wear_and_tear",
        ),
    ),
    sits={"impeller": 20},
    mate="impeller",
    place=20,
)
