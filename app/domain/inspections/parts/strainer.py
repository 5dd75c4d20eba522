"""What is asked of a strainer."""

from app.domain.inspections.part import REPLACE, WATCH, Condition, Part

STRAINER = Part(
    "strainer",
    "Strainer",
    conditions=(
        Condition(
            "strainer_torn",
            "Is its mesh torn, or lifted from the rim?",
            REPLACE,
            "What gets through a torn mesh reaches the impeller, washer and seal.",
            "STD",
            "2.5",
            "wear_and_tear",
        ),
        Condition(
            "strainer_blocked",
            "Does hardly any light pass its mesh after cleaning?",
            REPLACE,
            "A blocked strainer starves the pump.",
            "PLU",
            "5.1",
            "cured_film",
        ),
    ),
    sits={"tank": 50},
    place=200,
    full=(
        Condition(
            "strainer_passes",
            "Do flakes of cured resin drift in the bath?",
            WATCH,
            "Flakes get past the strainer. Look at it once the tank is empty.",
            "SER",
            "5.2",
            "cured_film",
        ),
    ),
)
