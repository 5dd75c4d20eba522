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
        "Tell everyone at the station that you are swapping this bath. Read the solvent's safety "
        "data sheet and keep it at hand. Nobody works above you.",
        "Place is clear",
        confirms=(
            "Hood or room ventilation is running",
            "No flame, spark, heater or hot surface near",
            "Absorbent, spill bags and eyewash are within reach",
        ),
    ),
    Step(
        "protect", "Put on gloves, glasses, apron",
        "Wear the gloves the safety data sheet names. Change them at once after a splash: "
        "solvent with resin in it goes through thin gloves in minutes. Uncured resin can cause a "
        "lifelong allergy.",
        "Protected", role="ppe",
        confirms=(
            "Fresh gloves for this solvent are on",
            "Safety glasses or goggles are on",
            "Apron and long sleeves cover the skin",
        ),
    ),
    Step(
        "isolate", "Stop the bath and isolate it",
        "Take the last parts out. Stop the pump and heater. Switch off at the supply away from "
        "the bath, lock it and hang your tag on it. Let hot parts cool down first.",
        "Isolated", role="isolate",
        confirms=("No parts are in the bath", "Pump and heater are off and cannot be switched on"),
        asks=(
            Ask("lock_number", "note", "Number of the lock", is_required=False),
            Ask("key_holder", "second", "Who holds its key, if not you",
                is_required=False),
        ),
    ),
    Step(
        "isolate_clean", "Stop the clean bath and isolate it",
        "It is emptied and wiped by hand too. Take its last parts out, stop its pump and "
        "heater, switch off at its own supply, lock it and hang your tag on it.",
        "Clean bath isolated", role="isolate_clean",
        confirms=("No parts are in the clean bath",
                  "Its pump and heater are off and cannot be switched on"),
        asks=(
            Ask("clean_lock_number", "note", "Number of its lock", is_required=False),
            Ask("clean_key_holder", "second", "Who holds its key, if not you", is_required=False),
        ),
    ),
    Step(
        "choose_drum", "Choose and ready the drum",
        "Same waste stream, room for bath and rinse under its fill limit, sound lid, legible "
        "label. One stream per drum. Never mix.",
        "Drum is ready", role="drum",
        confirms=("The label names the waste, its hazards and where it comes from",
                  "The drum is in its tray and does not leak"),
        asks=(_SECOND,),
    ),
    Step(
        "bond", "Bond and earth both",
        "Move a flammable liquid only bonded (29 CFR 1910.106(e)(6)(ii)), and by hand, by air "
        "pump or by a pump rated for the area.",
        "Bonded", role="bond", confirms=(
            "Clamps are on bare metal, or the dip pipe is earthed",
            "The drum is vented: you cracked its small bung slowly, face turned away",
        ),
    ),
)  # fmt: skip

_EMPTY = (
    Step(
        "drain", "Drain into the drum",
        "Read the drum first. Open the drain a little, stay with it, and keep the hose end low "
        "in the drum. Close the drain when the flow stops, and read the drum again. Before you "
        "leave: drain shut, lid on the tank, bung in the drum.",
        "Drained", role="drain",
    ),
    Step(
        "inspect", "Inspect the empty tank",
        "Check the impeller, shaft, seal, strainer, drain and lid while you can see everything. "
        "A failed part stops the refill.",
        "Inspected", role="inspection",
    ),
    Step(
        "rinse", "Rinse out the settled solids",
        "Pour the rinse along the walls, stir up the solids, and drain it into the same drum. "
        "Filled resins leave fine solids and may need a second rinse. Enter 0 if you did not "
        "rinse. Sludge that does not flow goes into a separate, closed and labelled container.",
        "Rinsed", role="rinse",
        asks=(
            Ask("solids_kg", "number", "Solids taken out", "kg", 0, 500, is_required=False),
            Ask("solids_container", "note", "Their container", is_required=False),
        ),
    ),
    Step(
        "wipe", "Wipe down tank and lid",
        "Use lint-free wipes damp with solvent, from clean to dirty. No metal scraper on "
        "plastic. Used wipes are waste too: put them in the closed wipes bin.",
        "Wiped", role="hands", confirms=("The lid is back on, so that vapour stays in",),
    ),
    Step(
        "sensor", "Clean the sensor",
        "Clean the window or float with a soft wipe and fresh solvent. No scraper. Check that it "
        "moves freely and that its cable is sound.",
        "Sensor checked", role="hands", is_required=False,
        asks=(Ask("sensor_state", "choice", "Its state",
                  choices=("clean", "film came off", "film stays", "damaged")),),
    ),
)  # fmt: skip

_FULL = (
    Step(
        "refit", "Refit before filling",
        "Refit the seal, impeller, strainer, drain plug and sensor now, while the tank is light "
        "and dry. A filled tank is too heavy to move.",
        "Refitted", role="refit",
        confirms=("All parts are back in place and tight", "The drain is closed",
                  "The tank is level and in its place"),
    ),
    Step(
        "move_clean", "Move the clean bath here",
        "Bond both tanks. Move the liquid slowly, leave settled solids behind, stop between the "
        "marks.",
        "Moved", role="move", confirms=("Both tanks are bonded",),
    ),
    Step(
        "rinse_clean", "Rinse the clean tank",
        "Now that it is empty, rinse its walls and drain the rinse into the same drum. Enter 0 if "
        "you did not rinse. Solids that settled go into a separate, closed and labelled container.",
        "Clean tank rinsed", role="rinse_clean",
        asks=(
            Ask("clean_solids_kg", "number", "Solids taken out", "kg", 0, 500, is_required=False),
            Ask("clean_solids_container", "note", "Their container", is_required=False),
        ),
    ),
    Step(
        "clean_tank", "Inspect and wipe the clean tank",
        "Check its impeller, shaft, seal, strainer, drain and lid. Then wipe it down with "
        "lint-free wipes damp with solvent.",
        "Clean tank is ready", role="clean",
        confirms=("Pump and heater of this tank are still off and locked",
                  "It is wiped down, with no solids left"),
    ),
    Step(
        "refit_clean", "Refit the clean tank",
        "Refit its seal, impeller, strainer, drain plug and sensor while it is light and dry.",
        "Clean tank refitted", role="refit_clean",
        confirms=("All its parts are back in place and tight", "Its drain is closed",
                  "It is level and in its place"),
    ),
    Step(
        "fill", "Fill to between the marks",
        "Read the label of every container aloud: solvent, purity, use-by day. Pour slowly, with "
        "container and tank bonded. Stop between the two marks.",
        "Filled", role="fill", confirms=("The label on each container names the bath's solvent",),
        asks=(_SECOND,),
    ),
    Step(
        "leak_check", "Look for leaks",
        "Dry the outside and wait five minutes. Look under the drain, the seal and the fittings.",
        "No leak", role="leak_check", confirms=("No drop in five minutes",),
    ),
    Step(
        "read", "Take the first reading",
        "Read the fresh bath before any wash, and note the sample's temperature. Later readings "
        "are compared with this one.",
        "Reading taken", role="reading",
    ),
    Step(
        "restart", "Restart and watch it run",
        "Check that the level is above the intake: a pump that runs dry loses its seal. Then "
        "take your tag off, let it run and listen.",
        "Running", role="restart",
        confirms=("The level is above the intake", "It ran for five minutes without noise or leak"),
        asks=(Ask("lock_released_with", "second", "Second person when the lock came off",
                  is_required=False),),
    ),
    Step(
        "close_out", "Close drum, label and shelf",
        "Funnel off, bung in, drum closed. A drum is only open while you pour. Update the label, "
        "put full containers back, and put empty ones where the site keeps them.",
        "Put away",
        confirms=("The hose is drained into the drum, and capped",
                  "The drum is closed and its label is right",
                  "Tools and clamps are put away"),
        asks=(Ask(TIME_KEY, "number", TIME_LABEL, "min", 1, 1440, is_required=False),),
    ),
)  # fmt: skip

DEFAULT = Template(SWAP_CHECKLIST, "Swap of a bath", 1, _BEFORE + _EMPTY + _FULL)
