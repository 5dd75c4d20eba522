"""What is asked of a level marks."""

from app.domain.inspections.part import REPLACE, WATCH, Condition, Part

LEVEL_MARKS = Part(
    "level_marks",
    "Level marks",
    conditions=(
        Condition(
            "marks_gone",
            "Is one of the two marks gone?",
            REPLACE,
            "Without both marks, nobody can fill to between them.",
            "PDE",
            "2.4",
            "wear_and_tear",
        ),
        Condition(
            "marks_faint",
            "Is one of them hard to read?",
            WATCH,
            "It will soon be gone. Have a new one ready.",
            "SER",
            "2.4",
            "wear_and_tear",
        ),
    ),
    sits={"tank": 30},
    place=60,
)
