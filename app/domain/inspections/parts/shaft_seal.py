"""What is asked of a shaft seal."""

from app.domain.inspections.part import OUT, REPLACE, WATCH, Condition, Part

SHAFT_SEAL = Part(
    "shaft_seal",
    "Shaft seal",
    conditions=(
        Condition(
            "seal_leaks",
            "Does it drip, or is there a wet trace of solvent outside?",
            OUT,
            "A leaking seal lets solvent out near a motor.",
            "ELP",
            "1.1",
            "dry_running",
        ),
        Condition(
            "seal_groove",
            "Does a fingernail catch in a groove of the shaft?",
            OUT,
            "A grooved shaft leaks at any seal. Replace it as its maker's instructions say.",
            "STD",
            "2.4",
            "fillers",
        ),
        Condition(
            "seal_weeps",
            "Is a dry cloth damp after ten minutes against it?",
            REPLACE,
            "A seal that weeps will leak soon.",
            "ELP",
            "1.1",
            "wear_and_tear",
        ),
        Condition(
            "seal_hard",
            "Is it swollen, hard or cracked?",
            REPLACE,
            "The material has changed. It no longer follows the shaft.",
            "ELP",
            "2.0",
            "chemical",
        ),
        Condition(
            "seal_sticky",
            "Does resin stick between seal and shaft?",
            WATCH,
            "Cured resin lifts the lip. Clean it and check again.",
            "SER",
            "1.6",
            "cured_film",
        ),
    ),
    sits={"tank": 10},
    place=40,
    full=(
        Condition(
            "seal_drop",
            "Does a drop hang under the shaft, or is there a wet trace below it?",
            OUT,
            "A leaking seal lets solvent out near a motor.",
            "ELP",
            "1.1",
            "dry_running",
        ),
    ),
    refilled=(
        Condition(
            "seal_weeps_again",
            "Is a dry cloth under the shaft damp ten minutes after the refill?",
            OUT,
            "A seal that weeps will leak soon. If it was just fitted, it sits wrong.",
            "ELP",
            "1.1",
            "handling",
        ),
    ),
)
