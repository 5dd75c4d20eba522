"""What may be wrong in a room, and what each act answers to it: a row of letters a fault.

F forbidden: nothing is stored. A asked: stored only once the question of that name is answered.
T told: it stands on the pages, and the act is stored. - does not apply: the act uses nothing of it.
The letters stand under those of `acts.LETTERS`. A row with a letter too few or too many fails as
the program starts, so a new act without answers cannot be built.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

Thing = Literal["person", "station", "tank", "room", "drum", "lot", "instrument"]
PRACTICE = "common practice, no source"
MACHINE_GUARDS = "IEC 60204-1 and ISO 14119 (interlocks of guards); from memory"
TRAINED = "29 CFR 1910.1200(h), training before the first work with a hazard; from memory"
SHUT = "40 CFR 262.16(b)(2); text read"


@dataclass(frozen=True)
class Fault:
    """Something that is not as it should be.

    Attributes:
        thing: what has it.
        row: the answers, a letter an act.
        harm: what it leads to where the act goes on.
        source: where the answer comes from, and how it was read.
    """

    key: str
    name: str
    thing: Thing
    row: str
    harm: str
    source: str = PRACTICE

    @property
    def way(self) -> str:
        """What is done instead."""
        return WAYS[self.key]


#   W wash, T top up, S start a swap, D choose the drum, N drain, R rinse, I inspection, M move,
#   F fill, E swap entered at once, P pour, X transfer, C close a drum, H ship, U cure, L relamp,
#   V receive, O order, K read an instrument, G sign an inspection
#   B restart after a swap
#   WTSDNRIMFEPXCHULVOKGB
_ALL = (
    Fault("person_not_for_it", "Taken off this task", "person",
        "--F-FF-FFA-FFFF----FF", "A lead has decided that somebody else does it."),
    Fault("person_not_qualified", "Not qualified", "person",
        "--A-AA-AAA-AAAA----AA", (
            "Somebody untrained gets splashed, or misses the leak that hurts the next person."
        ),
        TRAINED),
    Fault("interlock_fault", "Interlock not in order", "station",
        "--------------FT-----", "The lamp stays on with the lid open and burns eyes and skin.",
        MACHINE_GUARDS),
    Fault("interlock_overdue", "Interlock test overdue", "station",
        "--------------AT-----", "Nobody knows whether the lamp goes out when the lid opens.",
        f"weekly test: {PRACTICE}; {MACHINE_GUARDS}"),
    Fault("station_held", "Station held", "station",
        "--------------FT-----", "Somebody found it unsafe, and no lead has released it."),
    Fault("reading_set_aside", "Last reading set aside", "station",
        "--------------T------", "The dose relies on older readings. Parts may stay uncured."),
    Fault("light_path_new", "New window or reflector, light not measured since", "station",
        "--------------A------",
        "The light at the parts is not what the last reading says. Parts may stay uncured."),
    Fault("meter_overdue", "Instruments not checked in time", "room",
        "--T-----T-----T---T--", "Readings may be wrong, and with them a bath or a dose."),
    Fault("instrument_overdue", "Instrument past its calibration day", "instrument",
        "------------------A--", "Nobody knows how far off it is, or the bath or dose it reads.",
        "ISO/IEC 17025:2017, 6.4 (equipment); from memory"),
    Fault("instrument_aside", "Instrument set aside", "instrument",
        "------------------F--", "Somebody found it reads wrong. A bath or a dose relies on it.",
        "ISO/IEC 17025:2017, 6.4 (equipment); from memory"),
    Fault("cover_fault", "Cover interlock not in order", "tank",
        "FTT-TTTAAA----------F", (
            "The pump runs with the cover open. Solvent sprays and hands can reach in."
        ),
        MACHINE_GUARDS),
    Fault("cover_overdue", "Cover interlock test overdue", "tank",
        "TTA-TTTTTT----------A", "Nobody knows whether the pump stops when the cover opens.",
        f"weekly test: {PRACTICE}; {MACHINE_GUARDS}"),
    Fault("tank_held", "Tank held", "tank",
        "FAA-ATTAAA----------F", "Somebody found it unsafe, and no lead has released it."),
    Fault("contents_unknown", "Nobody has said what is in the tank", "tank",
        "FFF-FF-FFF--------F-F", "Fresh solvent goes on top of a full bath, or a pump runs dry."),
    Fault("part_unsafe", "Part out of service", "tank",
        "FAT-TT-FFA----------F", "The part breaks or leaks when the bath is full."),
    Fault("inspection_unsigned", "Inspection not signed", "tank",
        "TTT-TTFFFA----------F", "The tank is filled over a part nobody has checked."),
    Fault("flash_lowered", "Flammable solvent in a slow or water bath", "tank",
        "ATTAAA-A-TA---------T",
        "It catches fire like the solvent that went in, and becomes a different waste.",
        "Raoult's law, computed; 40 CFR 261.21(a)(1), below 60 °C; text read"),
    Fault("bath_spoiled", "A wrong solvent went into this bath", "tank",
        "AATFFF-FTFF-------T-T", (
            "Nobody knows what it holds. In a drum of another waste the two may react, and the "
            "label says something else."
        ),
        "40 CFR 265.177, incompatible wastes; 262.11, waste is determined first; from memory"),
    Fault("tank_heated", "Heat or ultrasound in a flammable bath", "tank",
        "FFT-TT-FFF----------F", "Its mist or vapour catches fire at the heater or the transducer.",
        "29 CFR 1910.106(a)(19), heated to within 16.7 °C of its flash point; from memory"),
    Fault("hood_fault", "Hood not in order", "room",
        "AAF-AATFFAAT--T-----A", "Vapour builds up. It makes people drowsy and may catch fire.",
        "29 CFR 1910.124(b), dip tanks: vapour below 25 % of its lower limit; second hand"),
    Fault("hood_overdue", "Hood not checked in time", "room",
        "TTA-TTTTTTTT--T-----T", "Nobody knows whether vapour is drawn off.",
        f"weekly look: {PRACTICE}; air speed quarterly: 29 CFR 1910.124, from memory"),
    Fault("eyewash_fault", "Eyewash not in order", "room",
        "TAA-AATAAAAA--T-----T", "A splash cannot be rinsed out of the eye in time.",
        "29 CFR 1910.151(c) and ANSI/ISEA Z358.1; from memory"),
    Fault("eyewash_overdue", "Eyewash not run in time", "room",
        "TTA-TTTTTTTT--T-----T", "The water is stale, or there is none, when an eye needs rinsing.",
        "ANSI/ISEA Z358.1, weekly; from memory"),
    Fault("spill_kit_fault", "Spill kit or extinguisher not in order", "room",
        "TTA-AATAAAAA--T-T---T",
        "A spill reaches a drain or a flame with nothing at hand to stop it.",
        "29 CFR 1910.157(e), extinguishers monthly; from memory"),
    Fault("spill_kit_overdue", "Spill kit or extinguisher not checked in time", "room",
        "TTA-TTTTTTTT--T-T---T", "Nobody knows whether the kit is full when it is needed.",
        "29 CFR 1910.157(e), extinguishers monthly; from memory"),
    Fault("storage_over_limit", "More flammable liquid than the fire area may hold", "room",
        "--TT----TT------AA---", "A fire grows larger than the room is built for.",
        "29 CFR 1910.106(e)(2)(ii)(b), quoted by OSHA; text read. The site's own limit counts"),
    Fault("drum_wrong_stream", "Drum of another stream", "drum",
        "---FFF----FF---------", "Two wastes react, or the whole drum takes on another waste code.",
        "40 CFR 262.16(b)(2)(ii), compatible container; text read"),
    Fault("drum_no_liquid", "Bin that takes no liquid", "drum",
        "---FFF----F----------", (
            "It leaks from a bin of wipes or solids, and the waste is no longer excluded."
        ),
        "40 CFR 261.4(b)(18), no free liquid; text read"),
    Fault("drum_over_limit", "Drum over its fill limit", "drum",
        "---FFF----FFAA-------", "The liquid expands as it warms, and bursts the drum.",
        "49 CFR 173.24a(d), not liquid-full at 55 °C; second hand"),
    Fault("drum_warm", "Drum warm, hissing or bulging", "drum",
        "---FFF----FFFF-------", "Resin reacts inside, and a closed drum bursts.",
        "reports of burst waste drums; second hand"),
    Fault("drum_unsound", "Drum leaks, rusts or bulges", "drum",
        "---FFF----FFAF-------", "It fails when filled or moved.", SHUT),
    Fault("drum_unknown", "Nobody knows what the drum holds", "drum",
        "---FFF----FFTF-------", "Nobody knows how the two react together.",
        "40 CFR 262.11, waste is determined first; from memory"),
    Fault("drum_quarantined", "Drum in quarantine", "drum",
        "---FFF----FFTF-------", "The problem gets worse, or goes out on the road."),
    Fault("drum_closed", "Drum closed for shipping", "drum",
        "---FFF----FFF--------", "Its papers no longer say what is in it.", SHUT),
    Fault("drum_past_day", "Drum past its last day", "drum",
        "---ATT----AATT-------", (
            "Waste that should be gone piles up, and the site stores it without a permit."
        ),
        "40 CFR 262.16(b) and (d), days of accumulation; text of (b) read, (d) from memory"),
    Fault("drum_open", "Drum not closed", "drum",
        "-------------F-------", "It spills on the road.", SHUT),
    Fault("lot_expired", "Lot past its day", "lot",
        "-F---F--F-------A----", "Old solvent is not what the label says, and may hold peroxides.",
        "the supplier's label; peroxides: from memory"),
    Fault("lot_quarantined", "Lot held", "lot",
        "-F---F--F-------A----",
        "Something about the lot is still unknown, and it goes into a bath."),
    Fault("lot_withdrawn", "Lot withdrawn by its maker", "lot",
        "-F---F--F-------A----", "It is not what its label says. Its maker recalled it."),
    Fault("lot_wrong_solvent", "Lot of another solvent", "lot",
        "-F---F--F------------", "Its flash point is unknown, and no instrument can read it."),
)  # fmt: skip
FAULTS: Mapping[str, Fault] = {fault.key: fault for fault in _ALL}

WAYS: Mapping[str, str] = {
    "interlock_fault": (
        "Have it repaired, test it, and enter the test under “What is due”. Then a lead releases "
        "it."
    ),
    "interlock_overdue": "Test it now and enter it under “What is due”. It takes a minute.",
    "station_held": "Use another station. A lead releases this one on its page.",
    "reading_set_aside": "Measure again.",
    "light_path_new": "Measure the light and enter it on the station's page.",
    "meter_overdue": "Measure a known sample and enter it under “What is due”.",
    "person_not_for_it": "Have somebody else do it. Ask a lead who.",
    "person_not_qualified": (
        "Have somebody qualified do it, or stand by and watch. A lead enters who is "
        "qualified under Who may do what."
    ),
    "instrument_overdue": "Have it calibrated, or use another instrument.",
    "instrument_aside": "Use another instrument. If this one is in order, put it back on its page.",
    "cover_fault": (
        "Have it repaired, test it, and enter the test under “What is due”. Then a lead releases "
        "it."
    ),
    "cover_overdue": "Test it now and enter it under “What is due”. It takes a minute.",
    "tank_held": "Use another tank. A lead releases this one on its page.",
    "contents_unknown": "Say what is in it on the tank's page.",
    "part_unsafe": "Fit a new part, or have a lead decide on the part's page.",
    "inspection_unsigned": "Finish and sign it first.",
    "flash_lowered": "Treat it as flammable, keep it in a separate drum, and ask for a flash test.",
    "bath_spoiled": (
        "Swap it step by step. Set up an empty drum for “Unknown or mixed” waste, pour the bath "
        "and its rinse into it, and have it tested. Your waste contractor decides."
    ),
    "tank_heated": (
        "Switch both off and enter that on the tank's page. A lead can allow them there for the "
        "solvent that is in it now."
    ),
    "hood_fault": "Close the covers. Have it repaired and enter that under “What is due”.",
    "hood_overdue": "Check it now and enter it under “What is due”.",
    "eyewash_fault": "Have it repaired and enter that under “What is due”.",
    "eyewash_overdue": "Run it now and enter it under “What is due”.",
    "spill_kit_fault": "Refill or replace it, and enter it as in order under “What is due”.",
    "spill_kit_overdue": "Check both now and enter it under “What is due”.",
    "storage_over_limit": "Have drums collected first, or order less.",
    "drum_wrong_stream": "Use a drum of the same stream.",
    "drum_no_liquid": "Use a drum for this solvent. Sludge and wipes go in by weight.",
    "drum_over_limit": "Use another drum, or pump some out before you close it.",
    "drum_warm": "Keep away, keep others away, call the emergency number.",
    "drum_unsound": "Move the contents into a sound drum of the same stream.",
    "drum_unknown": "Have it tested.",
    "drum_quarantined": "Use another drum. A lead releases this one on its page.",
    "drum_closed": "Use another drum, or reopen this one on its page.",
    "drum_past_day": "Use another drum, and have this one collected.",
    "drum_open": "Close it first, once it is cool.",
    "lot_expired": "Use another lot, or give your reason in the note.",
    "lot_quarantined": "Use another lot. A lead releases this one on the item's page.",
    "lot_withdrawn": "Use another lot. Send this one back or scrap it.",
    "lot_wrong_solvent": "Use a lot of this bath's solvent.",
}
"""What is done instead, by fault."""

UNSEEN: Mapping[str, str] = {
    "Air over a limit": "Air readings are not entered here. Look at your own meter.",
    "Why somebody was taken off a task": "It stays with them. The log keeps no reason.",
}
"""What is dangerous too, and cannot be seen from the log: no act is stopped for it."""
