"""What is asked of a reflector."""

from app.domain.inspections.part import REPLACE, Condition, Part

REFLECTOR = Part(
    "reflector",
    "Reflector",
    conditions=(
        Condition(
            "reflector_dull",
            "Is it dull, yellow or scratched where it faces the lamp?",
            REPLACE,
            "The parts get less light.",
            "LOO",
            "2.0",
            "wear_and_tear",
        ),
        Condition(
            "reflector_loose",
            "Does it move when touched with the lamp off and cold?",
            REPLACE,
            "Light goes where it was not measured.",
            "STD",
            "1.5",
            "handling",
        ),
    ),
    sits={"station": 30},
    place=110,
)
