"""What is asked of a turntable."""

from app.domain.inspections.part import REPLACE, WATCH, Condition, Part

TURNTABLE = Part(
    "turntable",
    "Turntable",
    conditions=(
        Condition(
            "turntable_stuck",
            "Does it stop, jerk or slip under a usual load?",
            REPLACE,
            "Parts that do not turn cure on one side only.",
            "ERO",
            "1.6",
            "wear_and_tear",
        ),
        Condition(
            "turntable_resin",
            "Is there cured resin on its plate or under its rim?",
            WATCH,
            "Clean it. What stays makes it jerk.",
            "SER",
            "5.2",
            "cured_film",
        ),
    ),
    sits={"station": 40},
    place=100,
)
