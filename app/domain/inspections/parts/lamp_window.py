"""What is asked of a lamp window."""

from app.domain.inspections.part import OUT, REPLACE, WATCH, Condition, Part

LAMP_WINDOW = Part(
    "lamp_window",
    "Lamp window",
    conditions=(
        Condition(
            "window_cracked",
            "Is it cracked?",
            OUT,
            "A cracked window lets ultraviolet light or splinters out.",
            "STD",
            "2.5",
            "handling",
        ),
        Condition(
            "window_cloudy",
            "Is it yellow, cloudy or scratched where the light passes?",
            REPLACE,
            "The parts get less light.",
            "LOO",
            "2.0",
            "wear_and_tear",
        ),
        Condition(
            "window_resin",
            "Is there cured resin on it?",
            WATCH,
            "Clean it. What stays on it takes light from the parts.",
            "SER",
            "5.2",
            "cured_film",
        ),
    ),
    sits={"station": 20},
    place=80,
)
