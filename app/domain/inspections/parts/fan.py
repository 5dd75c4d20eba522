"""What is asked of a fan."""

from app.domain.inspections.part import OUT, WATCH, Condition, Part

FAN = Part(
    "fan",
    "Fan",
    conditions=(
        Condition(
            "fan_stopped",
            "Does it stand still while the lamp is lit?",
            OUT,
            "The lamp and chamber overheat, and vapour is not carried away.",
            "FTF",
            "4.0",
            "wear_and_tear",
        ),
        Condition(
            "fan_clogged",
            "Is its grille or filter furred with dust or resin?",
            WATCH,
            "Clean it. Otherwise the lamp runs hotter and fades sooner.",
            "SER",
            "5.1",
            "cured_film",
        ),
    ),
    sits={"station": 50},
    place=120,
)
