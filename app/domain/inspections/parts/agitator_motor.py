"""What is asked of an agitator motor."""

from app.domain.inspections.part import OUT, REPLACE, Condition, Part

AGITATOR_MOTOR = Part(
    "agitator_motor",
    "Agitator motor",
    conditions=(
        Condition(
            "motor_wet",
            "Is there solvent or resin in its housing, or on its leads?",
            OUT,
            "Solvent in a motor catches fire at its first spark.",
            "ELP",
            "1.1",
            "wear_and_tear",
        ),
        Condition(
            "motor_loose",
            "Does it move on its bracket when it is pushed?",
            REPLACE,
            "A loose motor wears out the shaft and seal. Replace its screws or bracket.",
            "SER",
            "1.5",
            "wear_and_tear",
        ),
    ),
    sits={"tank": 80},
    place=230,
    full=(
        Condition(
            "motor_hot",
            "Does it smell of burning, or is it far hotter than usual?",
            OUT,
            "An overheated motor over flammable solvent is a source of ignition.",
            "OHE",
            "4.0",
            "wear_and_tear",
        ),
        Condition(
            "motor_noise",
            "Does it grind, squeal or hum louder than usual?",
            REPLACE,
            "A bearing that grinds runs hot and seizes.",
            "NOI",
            "2.4",
            "wear_and_tear",
        ),
    ),
)
