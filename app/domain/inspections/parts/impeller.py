"""What is asked of an impeller."""

from app.domain.inspections.part import OUT, REPLACE, WATCH, Condition, Part

IMPELLER = Part(
    "impeller",
    "Impeller",
    conditions=(
        Condition(
            "impeller_blade_broken",
            "Is a blade broken off or cracked through?",
            OUT,
            "A broken blade is out of balance, and its pieces reach the seal.",
            "STD",
            "2.5",
            "wear_and_tear",
        ),
        Condition(
            "impeller_magnets",
            "Do the magnets show on its underside?",
            REPLACE,
            "The underside has worn through. The magnets are next.",
            "STD",
            "2.4",
            "wear_and_tear",
        ),
        Condition(
            "impeller_o_ring_fused",
            "Is its O-ring fusing to it?",
            REPLACE,
            "A fused O-ring does not come off whole and no longer seals.",
            "STD",
            "1.6",
            "chemical",
        ),
        Condition(
            "impeller_worn",
            "Are blade edges rounded, thinned or nicked?",
            REPLACE,
            "Worn blades move less solvent, and from here they wear faster.",
            "LOO",
            "2.4",
            "fillers",
        ),
        Condition(
            "impeller_film",
            "Does a film of cured resin cling to it after wiping?",
            WATCH,
            "A film throws it off balance. Clean it and see if it comes back.",
            "SER",
            "5.2",
            "cured_film",
        ),
    ),
    sits={"impeller": 10},
    mate="washer",
    place=10,
    full=(
        Condition(
            "impeller_rattles",
            "Does it rattle, or does the stream come in pulses?",
            WATCH,
            "You hear a worn impeller first. Look at its blades once the tank is empty.",
            "ERO",
            "2.4",
            "wear_and_tear",
        ),
    ),
)
