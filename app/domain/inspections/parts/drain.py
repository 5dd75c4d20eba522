"""What is asked of a drain."""

from app.domain.inspections.part import OUT, REPLACE, WATCH, Condition, Part

DRAIN = Part(
    "drain",
    "Drain",
    conditions=(
        Condition(
            "drain_stiff",
            "Is its handle hard to turn, or does it turn past closed?",
            REPLACE,
            "A drain that may not close can empty the next bath.",
            "FTF",
            "1.6",
            "cured_film",
        ),
        Condition(
            "drain_blocked",
            "Does cured resin narrow its opening?",
            WATCH,
            "It drains slower each time. Clean it and look again.",
            "PLU",
            "5.1",
            "cured_film",
        ),
    ),
    sits={"tank": 60},
    place=210,
    full=(
        Condition(
            "drain_drips",
            "Does it drip, or is there a wet trace below it?",
            OUT,
            "A drain that drips under a full bath lets solvent out.",
            "ELP",
            "1.1",
            "wear_and_tear",
        ),
    ),
    refilled=(
        Condition(
            "drain_weeps",
            "Is a dry cloth under the closed drain damp after ten minutes?",
            OUT,
            "A drain that weeps will drip soon, with nobody beside it.",
            "ELP",
            "1.1",
            "wear_and_tear",
        ),
    ),
)
