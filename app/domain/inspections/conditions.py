"""What is asked of each part, and what a yes means: the one table of the inspection's rules.

Sources: the rules for washers, impellers with their O-rings and seals are common practice, no
source. So are the levels at which a finding is only watched. ISO 14224 gives the terms alone.
"""

from collections.abc import Mapping
from dataclasses import dataclass


@dataclass(frozen=True)
class Condition:
    """One question that anybody can answer by looking or touching.

    Attributes:
        key: its word in the log, and the name of its drawing.
        question: answered yes or no.
        verdict: what a yes leads to.
        reason: why, shown with the verdict.
        mode, mechanism, cause: ISO 14224 terms by key; the cause is the usual one, not a finding.
    """

    key: str
    question: str
    verdict: str
    reason: str
    mode: str
    mechanism: str
    cause: str


WATCH, REPLACE, MATE, OUT = "watch", "replace", "replace_with_mate", "take_out_of_service"
C = Condition

CONDITIONS: Mapping[str, tuple[Condition, ...]] = {
    "impeller": (
        C("impeller_blade_broken", "Is a blade broken off or cracked through?", OUT,
          "A broken blade runs out of balance and its pieces reach the seal.",
          "STD", "2.5", "wear_and_tear"),
        C("impeller_magnets", "Do the magnets show on its underside?", REPLACE,
          "The underside has worn through; the magnets are next.", "STD", "2.4", "wear_and_tear"),
        C("impeller_o_ring_fused", "Is its O-ring fusing to it?", REPLACE,
          "A fused O-ring does not come off whole and no longer seals.",
          "STD", "1.6", "chemical"),
        C("impeller_worn", "Are blade edges rounded, thinned or nicked?", REPLACE,
          "Worn blades move less solvent, and wear goes faster from here.",
          "LOO", "2.4", "fillers"),
        C("impeller_film", "Does a film of cured resin cling to it after wiping?", WATCH,
          "A film unbalances it; clean it and see whether it comes back.",
          "SER", "5.2", "cured_film"),
    ),
    "washer": (
        C("washer_lobe_broken", "Is a lobe broken off?", MATE,
          "A washer with a broken lobe is replaced together with its impeller.",
          "STD", "2.5", "wear_and_tear"),
        C("washer_lobe_cracked", "Is a connection between lobe and ring cracked?", MATE,
          "Cracked connections break next: replaced together with its impeller.",
          "STD", "2.6", "wear_and_tear"),
        C("washer_worn", "Can you see a track worn into its face?", WATCH,
          "A track deepens; look again at the next swap.", "SER", "2.4", "wear_and_tear"),
    ),
    "o_ring": (
        C("o_ring_cracked", "Does it show cracks when bent, or has it turned hard?", REPLACE,
          "A hard or cracked O-ring does not seal.", "ELP", "2.0", "chemical"),
        C("o_ring_swollen", "Has it swollen: does it no longer sit in its groove?", REPLACE,
          "A swollen O-ring is pinched and tears.", "ELP", "1.4", "chemical"),
        C("o_ring_flat", "Has it a flat side where it was pressed?", WATCH,
          "It has taken a set; it seals less each time.", "SER", "1.4", "wear_and_tear"),
    ),
    "shaft_seal": (
        C("seal_leaks", "Does it drip, or is there a wet trace of solvent outside?", OUT,
          "A leaking seal lets flammable solvent out near a motor.", "ELP", "1.1", "dry_running"),
        C("seal_groove", "Does a fingernail catch in a groove of the shaft?", OUT,
          "No seal closes on a grooved shaft: the shaft is a job for its maker's instructions.",
          "STD", "2.4", "fillers"),
        C("seal_weeps", "Is a dry cloth damp after ten minutes against it?", REPLACE,
          "A seal that weeps leaks soon.", "ELP", "1.1", "wear_and_tear"),
        C("seal_hard", "Is it swollen, hard or cracked?", REPLACE,
          "The material has changed: it does not follow the shaft any more.",
          "ELP", "2.0", "chemical"),
        C("seal_sticky", "Does resin stick between seal and shaft?", WATCH,
          "Cured resin lifts the lip; clean it and look again.", "SER", "1.6", "cured_film"),
    ),
    "lid_gasket": (
        C("gasket_cracked", "Is it cracked, torn or hard?", REPLACE,
          "A cracked gasket lets vapour out.", "ELP", "2.0", "chemical"),
        C("gasket_swollen", "Is it swollen or wavy, so that the lid does not lie flat?", REPLACE,
          "The lid does not close: vapour and light go through.", "ELP", "1.4", "chemical"),
        C("gasket_gap", "Can a slip of paper be pulled out anywhere under the closed lid?", WATCH,
          "It seals less there; clean both faces and look again.", "SER", "1.4", "wear_and_tear"),
    ),
    "level_marks": (
        C("marks_gone", "Is one of the two marks gone?", REPLACE,
          "Without both marks nobody can fill to between them.", "PDE", "2.4", "wear_and_tear"),
        C("marks_faint", "Is one of them hard to read?", WATCH,
          "It will be gone soon; have a new one ready.", "SER", "2.4", "wear_and_tear"),
    ),
    "sensor": (
        C("sensor_cable", "Is its cable bare or its housing cracked?", OUT,
          "Bare wire or a wet housing may spark over flammable solvent.", "STD", "4.0",
          "handling"),
        C("sensor_off", "Does it disagree with a second instrument beyond both tolerances?",
          REPLACE, "Its reading cannot be used.", "PDE", "2.0", "wear_and_tear"),
        C("sensor_film", "Does a film stay on its face after wiping?", WATCH,
          "A film shifts the reading; clean it and compare.", "PDE", "5.2", "cured_film"),
    ),
    "lamp_window": (
        C("window_cracked", "Is it cracked?", OUT,
          "A cracked window lets ultraviolet light or splinters out.", "STD", "2.5", "handling"),
        C("window_cloudy", "Is it yellow, cloudy or scratched where the light passes?", REPLACE,
          "It takes light away from the parts.", "LOO", "2.0", "wear_and_tear"),
        C("window_resin", "Is there cured resin on it?", WATCH,
          "Clean it; what stays takes light away.", "SER", "5.2", "cured_film"),
    ),
    "door_interlock": (
        C("interlock_fails", "Does the lamp stay lit while the door opens?", OUT,
          "Ultraviolet light reaches eyes and skin.", "FTF", "4.0", "wear_and_tear"),
        C("interlock_loose", "Is the switch loose or its actuator bent?", REPLACE,
          "It may fail at any opening.", "STD", "1.4", "handling"),
    ),
    "turntable": (
        C("turntable_stuck", "Does it stop, jerk or slip under a usual load?", REPLACE,
          "Parts that do not turn are cured on one side only.", "ERO", "1.6", "wear_and_tear"),
        C("turntable_resin", "Is there cured resin on its plate or under its rim?", WATCH,
          "Clean it; what stays makes it jerk.", "SER", "5.2", "cured_film"),
    ),
    "reflector": (
        C("reflector_dull", "Is it dull, yellow or scratched where it faces the lamp?", REPLACE,
          "It takes light away from the parts.", "LOO", "2.0", "wear_and_tear"),
        C("reflector_loose", "Does it move when touched with the lamp off and cold?", REPLACE,
          "Light goes where it was not measured.", "STD", "1.5", "handling"),
    ),
    "fan": (
        C("fan_stopped", "Does it stand still while the lamp is lit?", OUT,
          "Lamp and chamber overheat, and vapour is not carried off.", "FTF", "4.0",
          "wear_and_tear"),
        C("fan_clogged", "Is its grille or filter furred with dust or resin?", WATCH,
          "Clean it; the lamp runs hotter and fades sooner.", "SER", "5.1", "cured_film"),
    ),
}  # fmt: skip
