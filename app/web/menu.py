"""The pages of a room by what they are for, as the menu shows them. A new page is one line."""

GROUPS: tuple[tuple[str, tuple[tuple[str, str], ...]], ...] = (
    (
        "Baths",
        (
            ("", "Room"),
            ("/hand-over", "Hand over the shift"),
            ("/wall", "Screen on the wall"),
            ("/log", "Log of the room"),
            ("/resins", "Resins"),
            ("/rejects", "Rejects by saturation"),
            ("/instruments", "Instruments"),
            ("/calibrations", "Refractometer calibration"),
            ("/forecasts", "How good the forecasts are"),
        ),
    ),
    (
        "Swaps and waste",
        (
            ("/checklist", "Checklist of swaps"),
            ("/plan", "Swaps ahead"),
            ("/waste", "Waste drums"),
            ("/waste/pickups", "Waste pickups"),
            ("/waste/months", "Waste by month"),
            ("/waste/rules", "Waste rules"),
        ),
    ),
    (
        "When it goes wrong, what is due",
        (
            ("/problem", "Report a problem"),
            ("/incidents", "What went wrong"),
            ("/duties", "What is due"),
            ("/harm", "What each fault stops"),
            ("/storage", "Flammable liquids and vapour"),
            ("/litres", "Book of litres"),
        ),
    ),
    (
        "Parts, lamps, shelf",
        (
            ("/inspections", "Inspections"),
            ("/cure", "Cure parts"),
            ("/lots", "Part lots"),
            ("/lots/recall", "Recall part lots"),
            ("/stations", "Curing stations"),
            ("/cure/recipes", "Cure recipes"),
            ("/shelf", "Shelf"),
            ("/shelf/orders", "Orders"),
            ("/codes", "Labels with codes"),
        ),
    ),
    (
        "Cost",
        (("/spend", "What the week cost"),),
    ),
    (
        "Set up",
        (
            ("/tanks/new", "Add a tank"),
            ("/settings", "Room settings"),
            ("/site", "Site settings"),
            ("/crew", "People and roles"),
            ("/qualified", "Who may do what"),
            ("/solvents", "Own solvents"),
            ("/solvents/limits", "Exposure limits"),
            ("/import", "Import and export"),
        ),
    ),
)
"""Of each group its title and its pages: where they lie in the room, and what they are called."""
