"""What is asked of a level marks."""

from app.domain.inspections.part import OUT, REPLACE, WATCH, Condition, Part

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
    full=(
        Condition(
            "level_off",
            "Is the level outside the two marks?",
            WATCH,
            "Too low, and the impeller draws air. Too high, and the lid gets wet.",
            "SER",
            "1.1",
            "handling",
        ),
    ),
    refilled=(
        Condition(
            "level_falls",
            "Has the level fallen in the ten minutes since the fill?",
            OUT,
            "Solvent is going somewhere. Find out where before anything is washed.",
            "ELP",
            "1.1",
            "wear_and_tear",
        ),
    ),
)
