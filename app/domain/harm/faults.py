"""What may be wrong in a room, and what each act answers to it: a row of letters a fault.

F forbidden: nothing is stored. A asked: stored only once the question of that name is answered.
T told: it stands on the pages, and the act is stored. - does not apply: the act uses nothing of it.
The letters stand under those of `acts.LETTERS`. A row with a letter too few or too many fails as
the program starts, so a new act without answers cannot be built.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

Thing = Literal["station", "tank", "room", "drum", "lot"]
PRACTICE = "common practice, no source"
MACHINE_GUARDS = "IEC 60204-1 and ISO 14119 (interlocks of guards); from memory"
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
#   V receive, O order
#   WTSDNRIMFEPXCHULVO
_ALL = (
    Fault("interlock_fault", "Interlock not in order", "station",
        "--------------FT--", "The lamp shines on with the lid open: eyes and skin are burned.",
        MACHINE_GUARDS),
    Fault("interlock_overdue", "Interlock test overdue", "station",
        "--------------AT--", "Nobody knows whether the lamp goes out when the lid opens.",
        f"weekly test: {PRACTICE}; {MACHINE_GUARDS}"),
    Fault("station_held", "Station held", "station",
        "--------------FT--", "Somebody found it unsafe, and no lead has released it."),
    Fault("reading_set_aside", "Last reading set aside", "station",
        "--------------T---", "The dose rests on older readings: parts may stay uncured."),
    Fault("meter_overdue", "Instruments not checked in time", "room",
        "--T-----T-----T---", "Readings may be wrong, and so a bath or a dose."),
    Fault("cover_fault", "Cover interlock not in order", "tank",
        "FTT-TTTAAA--------", "The pump runs with the cover open: solvent sprays, hands reach in.",
        MACHINE_GUARDS),
    Fault("cover_overdue", "Cover interlock test overdue", "tank",
        "TTA-TTTTTT--------", "Nobody knows whether the pump stops when the cover opens.",
        f"weekly test: {PRACTICE}; {MACHINE_GUARDS}"),
    Fault("tank_held", "Tank held", "tank",
        "FAT-TTTAAA--------", "Somebody found it unsafe, and no lead has released it."),
    Fault("contents_unknown", "Nobody said what is in the tank", "tank",
        "FFF-FF-FFF--------", "Solvent goes on top of solvent, or a pump runs dry."),
    Fault("part_unsafe", "Part out of service", "tank",
        "FAT-TT-FFA--------", "The part breaks or leaks when the bath is full."),
    Fault("inspection_unsigned", "Inspection not signed", "tank",
        "TTT-TTFFFA--------", "The tank is filled over a part that nobody has judged."),
    Fault("flash_lowered", "Flammable solvent in a slow bath", "tank",
        "ATTAAA-A-TA-------",
        "It catches fire like the solvent that went in, and is other waste.",
        "Raoult's law, computed; 40 CFR 261.21(a)(1), below 60 °C; text read"),
    Fault("tank_heated", "Heat or ultrasound in a bath that catches fire", "tank",
        "FFT-TT-FFF--------", "Its mist or vapour catches fire at the heater or the transducer.",
        "29 CFR 1910.106(a)(19), heated to within 16.7 °C of its flash point; from memory"),
    Fault("hood_fault", "Hood not in order", "room",
        "AAF-AATFFAAT--T---", "Vapour gathers: people are numbed, and it may catch fire.",
        "29 CFR 1910.124(b), dip tanks: vapour below 25 % of its lower limit; second hand"),
    Fault("hood_overdue", "Hood not checked in time", "room",
        "TTA-TTTTTTTT--T---", "Nobody knows whether vapour is drawn off.",
        f"weekly look: {PRACTICE}; air speed quarterly: 29 CFR 1910.124, from memory"),
    Fault("eyewash_fault", "Eyewash not in order", "room",
        "TAA-AATAAAAA--T---", "A splash cannot be rinsed from the eye in time.",
        "29 CFR 1910.151(c) and ANSI/ISEA Z358.1; from memory"),
    Fault("eyewash_overdue", "Eyewash not run in time", "room",
        "TTA-TTTTTTTT--T---", "Stale water, or none, when an eye has to be rinsed.",
        "ANSI/ISEA Z358.1, weekly; from memory"),
    Fault("spill_kit_fault", "Spill kit or extinguisher not in order", "room",
        "TTA-AATAAAAA--T-T-", "A spill spreads to drains or fire with nothing at hand.",
        "29 CFR 1910.157(e), extinguishers monthly; from memory"),
    Fault("spill_kit_overdue", "Spill kit or extinguisher not looked at in time", "room",
        "TTA-TTTTTTTT--T-T-", "Nobody knows whether the kit is full when it is needed.",
        "29 CFR 1910.157(e), extinguishers monthly; from memory"),
    Fault("storage_over_limit", "More flammable liquid than the fire area may hold", "room",
        "--TT----TT------AA", "More burns than the room was made for.",
        "29 CFR 1910.106(e)(2)(ii)(b); second hand. The site's own limit counts"),
    Fault("drum_wrong_stream", "Drum of another stream", "drum",
        "---FFF----FF------", "Two wastes react, or a whole drum takes over a waste code.",
        "40 CFR 262.16(b)(2)(ii), compatible container; text read"),
    Fault("drum_no_liquid", "Bin that takes no liquid", "drum",
        "---FFF----F-------", "It runs out of a bin of wipes or solids, and is no excluded waste.",
        "40 CFR 261.4(b)(18), no free liquid; text read"),
    Fault("drum_over_limit", "Drum over its fill limit", "drum",
        "---FFF----FFAA----", "It bursts its bungs as it warms.",
        "49 CFR 173.24a(d), not liquid-full at 55 °C; second hand"),
    Fault("drum_warm", "Drum warm, hissing or bulging", "drum",
        "---FFF----FFFF----", "Resin reacts in it: a closed drum bursts.",
        "reports of burst waste drums; second hand"),
    Fault("drum_unsound", "Drum leaks, rusts or bulges", "drum",
        "---FFF----FFAF----", "It gives way as it is filled or moved.", SHUT),
    Fault("drum_unknown", "Nobody knows what the drum holds", "drum",
        "---FFF----FFTF----", "Nobody knows what the two do together.",
        "40 CFR 262.11, waste is determined first; from memory"),
    Fault("drum_quarantined", "Drum in quarantine", "drum",
        "---FFF----FFTF----", "What is wrong with it gets worse, or goes on the road."),
    Fault("drum_closed", "Drum closed for shipping", "drum",
        "---FFF----FFF-----", "Its papers no longer say what is in it.", SHUT),
    Fault("drum_past_day", "Drum past its last day", "drum",
        "---ATT----AATT----", "What had to be gone grows: the site stores waste without a permit.",
        "40 CFR 262.16(b) and (d), days of accumulation; text of (b) read, (d) from memory"),
    Fault("drum_open", "Drum not closed", "drum",
        "-------------F----", "It spills on the road.", SHUT),
    Fault("lot_expired", "Lot past its day", "lot",
        "-F---F--F-------A-", "Old solvent is not what the label says, and may hold peroxides.",
        "the supplier's label; peroxides: from memory"),
    Fault("lot_quarantined", "Lot in quarantine", "lot",
        "-F---F--F-------A-", "Something about it is not known yet, and the bath takes it in."),
    Fault("lot_withdrawn", "Lot withdrawn by its maker", "lot",
        "-F---F--F-------A-", "It is not what its label says: its maker called it back."),
    Fault("lot_wrong_solvent", "Lot of another solvent", "lot",
        "-F---F--F---------", "A bath of unknown flash point, that no instrument can read."),
)  # fmt: skip
FAULTS: Mapping[str, Fault] = {fault.key: fault for fault in _ALL}

WAYS: Mapping[str, str] = {
    "interlock_fault": "Have it mended, test it, enter it under Duties; then a lead releases it.",
    "interlock_overdue": "Test it now and enter it under Duties: it takes a minute.",
    "station_held": "Use another station. A lead releases this one on its page.",
    "reading_set_aside": "Measure again.",
    "meter_overdue": "Measure a known sample and enter it under Duties.",
    "cover_fault": "Have it mended, test it, enter it under Duties; then a lead releases it.",
    "cover_overdue": "Test it now and enter it under Duties: it takes a minute.",
    "tank_held": "Use another tank. A lead releases this one on its page.",
    "contents_unknown": "Say on the page of the tank what is in it.",
    "part_unsafe": "Fit a new part, or have a lead decide on the page of the part.",
    "inspection_unsigned": "Finish and sign it first.",
    "flash_lowered": "Treat it as flammable, keep it in a drum of its own, ask for a flash test.",
    "tank_heated": "Switch both off and enter it on the page of the tank, or have a lead say why.",
    "hood_fault": "Close the covers. Have it mended and enter it under Duties.",
    "hood_overdue": "Look at it now and enter it under Duties.",
    "eyewash_fault": "Have it mended and enter it under Duties.",
    "eyewash_overdue": "Run it now and enter it under Duties.",
    "spill_kit_fault": "Fill it up or replace it, and enter it in order under Duties.",
    "spill_kit_overdue": "Look at both now and enter it under Duties.",
    "storage_over_limit": "Have drums fetched first, or order less.",
    "drum_wrong_stream": "Take a drum of the same stream.",
    "drum_no_liquid": "Take a drum for this solvent. Sludge and wipes are weighed in.",
    "drum_over_limit": "Take another drum, or pump some out before it is closed.",
    "drum_warm": "Keep away, keep others away, call the emergency number.",
    "drum_unsound": "Move what it holds into a sound drum of the same stream.",
    "drum_unknown": "Have it tested.",
    "drum_quarantined": "Take another drum. A lead releases this one on its page.",
    "drum_closed": "Take another drum, or open this one again on its page.",
    "drum_past_day": "Take another drum, and have this one fetched.",
    "drum_open": "Close it first, once it is cool.",
    "lot_expired": "Take another lot, or say why this one in the note.",
    "lot_quarantined": "Take another lot. A lead releases this one on the page of the item.",
    "lot_withdrawn": "Take another lot, and send this one back or scrap it.",
    "lot_wrong_solvent": "Take a lot of the solvent of this bath.",
}
"""What is done instead, by fault."""

UNSEEN: Mapping[str, str] = {
    "Air over a limit": "No reading of the air is entered here: look at your own meter.",
    "Person not instructed, or sensitised": "No qualifications are entered here yet.",
}
"""What is dangerous too, and cannot be seen from the log: no act is stopped for it."""
