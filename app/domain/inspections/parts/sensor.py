"""What is asked of a sensor."""

from app.domain.inspections.part import OUT, REPLACE, WATCH, Condition, Part

SENSOR = Part(
    "sensor",
    "Sensor",
    conditions=(
        Condition(
            "sensor_cable",
            "Is its cable bare or its housing cracked?",
            OUT,
            "Bare wire or a wet housing may spark over flammable solvent.",
            "STD",
            "4.0",
            "handling",
        ),
        Condition(
            "sensor_off",
            "Does it differ from a second instrument by more than both tolerances?",
            REPLACE,
            "Its reading cannot be used.",
            "PDE",
            "2.0",
            "wear_and_tear",
        ),
        Condition(
            "sensor_film",
            "Does a film stay on its face after wiping?",
            WATCH,
            "A film shifts the reading. Clean it and compare.",
            "PDE",
            "5.2",
            "cured_film",
        ),
    ),
    sits={"tank": 40},
    place=70,
    full=(
        Condition(
            "sensor_differs",
            "Does it differ from a second instrument by more than both tolerances?",
            REPLACE,
            "Its reading cannot be used.",
            "PDE",
            "2.0",
            "wear_and_tear",
        ),
    ),
)
