"""What is asked of an O-ring."""

from app.domain.inspections.part import REPLACE, WATCH, Condition, Part

O_RING = Part(
    "o_ring",
    "O-ring",
    conditions=(
        Condition(
            "o_ring_cracked",
            "Does it show cracks when bent, or has it turned hard?",
            REPLACE,
            "A hard or cracked O-ring does not seal.",
            "ELP",
            "2.0",
            "chemical",
        ),
        Condition(
            "o_ring_swollen",
            "Has it swollen so that it no longer sits in its groove?",
            REPLACE,
            "A swollen O-ring gets pinched and tears.",
            "ELP",
            "1.4",
            "chemical",
        ),
        Condition(
            "o_ring_flat",
            "Does it have a flat side where it was pressed?",
            WATCH,
            "It has taken a set and seals less each time.",
            "SER",
            "1.4",
            "wear_and_tear",
        ),
    ),
    sits={"impeller": 30},
    place=30,
)
