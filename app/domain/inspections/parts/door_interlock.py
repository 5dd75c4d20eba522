"""What is asked of a door interlock."""

from app.domain.inspections.part import OUT, REPLACE, Condition, Part

DOOR_INTERLOCK = Part(
    "door_interlock",
    "Door interlock",
    conditions=(
        Condition(
            "interlock_fails",
            "Does the lamp stay lit while the door opens?",
            OUT,
            "Ultraviolet light reaches eyes and skin.",
            "FTF",
            "4.0",
            "wear_and_tear",
        ),
        Condition(
            "interlock_loose",
            "Is the switch loose or its actuator bent?",
            REPLACE,
            "It may fail the next time the door opens.",
            "STD",
            "1.4",
            "handling",
        ),
    ),
    sits={"station": 10},
    place=90,
)
