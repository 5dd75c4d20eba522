"""The checklist that a room starts with, from the practice of the trade.

Where no source is named, it is common practice without a published one. Local rules, the safety
data sheet and licensed practice come first; the site words it anew where they say otherwise.
"""

from app.domain.checklists.template import Ask, Step, Template

SWAP_CHECKLIST = "swap"
TIME_KEY, TIME_LABEL = "minutes_taken", "Time it took"
"""The question whose answer is charged as labour (domain/spend/costs.py)."""

_SECOND = Ask("second", "second", "Second person here", is_required=False)
"""Where a slip costs most: a room that never works alone makes it required in its list."""

# Order of work: stop and isolate, protect, ready the drum, drain, look while it is empty, clean,
# refit, fill, measure, restart. Refit before filling: a filled tank is too heavy to move.
_BEFORE = (
    Step(
        "prepare", "Clear the place",
        "Say at the station that this bath is changed now. Read the safety data sheet of the "
        "solvent and have it at hand. Nobody works above you.",
        "Place is clear",
        confirms=(
            "Hood or room ventilation is running",
            "No flame, spark, heater or hot surface near",
            "Absorbent, spill bags and eyewash are within reach",
        ),
    ),
    Step(
        "protect", "Put on gloves, glasses, apron",
        "Gloves as the safety data sheet names them, changed at once after a splash: solvent that "
        "carries resin goes through thin gloves in minutes. Uncured resin can make an allergy for "
        "life.",
        "Protected", role="ppe",
        confirms=(
            "Fresh gloves for this solvent are on",
            "Safety glasses or goggles are on",
            "Apron and long sleeves cover the skin",
        ),
    ),
    Step(
        "isolate", "Stop the bath and isolate it",
        "Take the last parts out. Stop pump and heater, switch off at the supply away from the "
        "bath, lock it and hang your tag on it. What is hot cools down first.",
        "Isolated", role="isolate",
        confirms=("No parts are in the bath", "Pump and heater are off and cannot be switched on"),
        asks=(
            Ask("lock_number", "note", "Number of the lock", is_required=False),
            Ask("key_holder", "second", "Who holds its key, where it is not you",
                is_required=False),
        ),
    ),
    Step(
        "choose_drum", "Choose and ready the drum",
        "Same waste stream, room for bath and rinse under its fill limit, sound lid, label on it "
        "and legible. One stream in a drum: never mix.",
        "Drum is ready", role="drum",
        confirms=("The label names the waste, its hazards and where it comes from",
                  "The drum stands in its tray and does not leak"),
        asks=(_SECOND,),
    ),
    Step(
        "bond", "Bond and earth both",
        "Clamp before the bung comes out, and let pressure off before it does. A flammable liquid "
        "is moved only with nozzle and container bonded (29 CFR 1910.106(e)(6)(ii)). Use a "
        "hand or air pump, or one rated for the area.",
        "Bonded", role="bond", confirms=(
            "Clamps sit on bare metal, or the dip pipe is grounded",
            "The drum is vented: its small bung was cracked slowly, face turned away",
        ),
    ),
)  # fmt: skip

_EMPTY = (
    Step(
        "drain", "Drain into the drum",
        "Read the drum before. Open the drain a little first, stay at it, keep the hose end low in "
        "the drum. Close the drain when the flow stops, and read the drum again. "
        "Whenever you leave: drain shut, lid on the tank, bung in the drum.",
        "Drained", role="drain",
    ),
    Step(
        "inspect", "Inspect the empty tank",
        "Impeller, shaft, seal, strainer, drain and lid, while everything can be seen. A part that "
        "has failed stops the refill.",
        "Inspected", role="inspection",
    ),
    Step(
        "rinse", "Rinse out the settled solids",
        "Pour the rinse along the walls, stir the solids up, and drain it into the same drum. "
        "Filled resins leave fine solids and may want a second rinse. Enter 0 where none was "
        "needed. Sludge that does not flow goes into its own closed, labelled container.",
        "Rinsed", role="rinse",
        asks=(
            Ask("solids_kg", "number", "Solids taken out", "kg", 0, 500, is_required=False),
            Ask("solids_container", "note", "Their container", is_required=False),
        ),
    ),
    Step(
        "wipe", "Wipe down tank and lid",
        "Lint-free wipes damp with solvent, from clean to dirty. No metal scraper on plastic. Used "
        "wipes go into the closed wipes bin: they are waste too.",
        "Wiped", role="hands", confirms=("The lid is on again: vapour stays in between steps",),
    ),
    Step(
        "sensor", "Clean the sensor",
        "Soft wipe and fresh solvent on the window or float; no scraper. Look whether it moves "
        "freely and its cable is whole.",
        "Sensor is clean", role="hands", is_required=False,
        asks=(Ask("sensor_state", "choice", "Its state",
                  choices=("clean", "film came off", "film stays", "damaged")),),
    ),
)  # fmt: skip

_FULL = (
    Step(
        "refit", "Refit before filling",
        "Seal, impeller, strainer, drain plug, sensor: now, while the tank is light and dry. A "
        "filled tank is too heavy to move.",
        "Refitted", role="refit",
        confirms=("All parts are back in place and tight", "The drain is closed",
                  "The tank stands level in its place"),
    ),
    Step(
        "move_clean", "Move the clean bath here",
        "Bond both tanks. Move the liquid slowly, leave settled solids behind, stop between the "
        "marks. Rinse, wipe and refit the clean tank as this one, before it is filled.",
        "Moved", role="move",
        confirms=("Both tanks are bonded", "The clean tank is wiped and refitted"),
    ),
    Step(
        "fill", "Fill to between the marks",
        "Read the label of every container aloud: solvent, purity, use-by day. Pour slowly, with "
        "container and tank bonded. Stop between the two marks.",
        "Filled", role="fill", confirms=("The label on each container is the bath's solvent",),
        asks=(_SECOND,),
    ),
    Step(
        "leak_check", "Look for leaks",
        "Dry the outside and wait five minutes. Look under the drain, the seal and the fittings.",
        "No leak", role="leak_check", confirms=("No drop came in five minutes",),
    ),
    Step(
        "read", "Take the first reading",
        "Of the fresh bath, before any wash, with the temperature of the sample: later readings "
        "are held against it.",
        "Reading taken", role="reading",
    ),
    Step(
        "restart", "Restart and watch it run",
        "Take your tag off. Level above the intake first: a pump that runs dry loses its seal. Let "
        "it run and listen.",
        "Running", role="restart",
        confirms=("The level stands above the intake", "It ran five minutes without noise or leak"),
        asks=(Ask("lock_released_with", "second", "Second person as the lock came off",
                  is_required=False),),
    ),
    Step(
        "close_out", "Close drum, label and shelf",
        "Bung in, funnel off, drum closed: a drum is open only while something is poured. Amend "
        "the label, put full containers back, empty ones where the site keeps them.",
        "Put away",
        confirms=("The hose is drained into the drum, and capped",
                  "The drum is closed and its label is right",
                  "Tools and clamps are put away"),
        asks=(Ask(TIME_KEY, "number", TIME_LABEL, "min", 1, 1440, is_required=False),),
    ),
)  # fmt: skip

DEFAULT = Template(SWAP_CHECKLIST, "Swap of a bath", 1, _BEFORE + _EMPTY + _FULL)
