"""What to do first when something goes wrong, what to record, and what is left to do after.

Common practice without a published source, except where a line names one. The site's own emergency
plan, the safety data sheets, local rules and trained responders come before anything here.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

WITH_WHAT: Mapping[str, str] = {
    "resin": "uncured resin", "bath": "a bath with resin in it", "waste": "waste",
}  # fmt: skip
"""What somebody may be exposed to besides a solvent."""
CautionKind = Literal["danger", "warning", "must"]


@dataclass(frozen=True)
class Caution:
    """Something to do, or not to do, before anything is recorded.

    Attributes:
        kind: danger (life), warning (harm), must (what has to be done).
        word: one word that stands large beside its sign.
    """

    kind: CautionKind
    word: str
    text: str


@dataclass(frozen=True)
class FollowUp:
    """Something left to do after the record.

    Attributes:
        is_required: the incident cannot be closed while it is open.
        path: page of the room where it is done, empty where there is none.
        source: where the duty comes from, empty for common practice.
    """

    key: str
    text: str
    is_required: bool = True
    path: str = ""
    source: str = ""


@dataclass(frozen=True)
class Guide:
    """What a kind of problem asks for.

    Attributes:
        title: the large choice; `about`: the line under it.
        asks: fields of the record that its form shows.
        holds_tank, holds_station, quarantines_drum: what is named is put out of use.
        adds_waste: litres taken up go into a drum and count in the month.
        is_office: nobody is in danger: it stands apart from what is.
    """

    key: str
    title: str
    about: str
    cautions: tuple[Caution, ...]
    asks: tuple[str, ...]
    follow_ups: tuple[FollowUp, ...]
    is_office: bool = False
    holds_tank: bool = False
    holds_station: bool = False
    quarantines_drum: bool = False
    adds_waste: bool = False

    @property
    def required(self) -> tuple[str, ...]:
        """Keys of the follow-ups that must be settled before it is closed."""
        return tuple(step.key for step in self.follow_ups if step.is_required)


IGNITION = Caution(
    "danger", "Fire",
    "Vapour at the liquid can catch fire at room temperature and runs along the floor. No flame, "
    "no spark, no switch touched where the vapour is. If it is large or near heat, or anybody "
    "feels unwell: everybody out, close the door, call the emergency number from outside.",
)  # fmt: skip
GLOVES = Caution(
    "must", "Protect",
    "Gloves and glasses on before you touch it. Solvent with resin in it goes through thin gloves "
    "fast: change them at once after a splash.",
)  # fmt: skip
AIR = Caution(
    "must", "Air",
    "Open doors to the outside. Switch the extraction on only at a switch away from the vapour. Do "
    "not judge by smell.",
)  # fmt: skip
NO_DRAIN = Caution(
    "warning", "Drain",
    "Let nothing reach a sink, a floor drain or the ground. If it runs towards a drain, "
        "block that first.",
)  # fmt: skip

SPILL = Guide(
    key="spill",
    title="Spill",
    about="Solvent, bath or resin on the floor, the bench or a person's things",
    cautions=(
        IGNITION, AIR, GLOVES, NO_DRAIN,
        Caution(
            "must", "Soak up",
            "Spread absorbent from the outside in. Put it into a closed metal bin or the drum "
            "for solids, never an open one, never the ordinary bin.",
        ),
    ),
    asks=("tank", "source", "volume_l", "waste"),
    follow_ups=(
        FollowUp("waste", (
            "What was soaked up is in a closed, labelled waste container, and its pour is entered"
        ), path="waste", source="40 CFR 262.15(a)(4)"),
        FollowUp("reported", "Someone has checked whether this amount must be reported "
                 "(local rules, site permit, landlord)"),
        FollowUp("kit", "The spill kit is full again"),
        FollowUp("cause", "The cause is found and fixed"),
    ),
    adds_waste=True,
)  # fmt: skip

LEAK = Guide(
    key="leak",
    title="Leak",
    about="A tank, pump, seal, hose or drum loses liquid",
    cautions=(
        IGNITION,
        Caution(
            "must", "Isolate",
            "Stop the pump: switch it off at the supply, away from the bath. Close the "
            "valve. Tray or drum under it, bonded while it fills.",
        ),
        GLOVES, NO_DRAIN,
        Caution(
            "warning", "Level",
            "A pump runs dry and gets hot when the level drops below its intake. Do not restart "
            "it to see where it leaks.",
        ),
    ),
    asks=("tank", "drum", "volume_l", "waste"),
    follow_ups=(
        FollowUp("contents", "The leaking drum's contents are in a sound one", is_required=False,
                 path="waste", source="40 CFR 262.16(b)(2)(i)"),
        FollowUp("waste", (
            "What leaked is in a closed, labelled waste container, and its pour is entered"
        ), path="waste"),
        FollowUp("inspected", "The part that leaked was inspected and replaced"),
        FollowUp("tested", "After refilling, it stayed dry for ten minutes before it was released"),
        FollowUp("reported", "Someone has checked whether this amount must be reported"),
    ),
    holds_tank=True,
    quarantines_drum=True,
    adds_waste=True,
)  # fmt: skip

WRONG_SOLVENT = Guide(
    key="wrong_solvent",
    title="Wrong solvent poured",
    about="Something went into the wrong tank or drum",
    cautions=(
        Caution(
            "danger", "Stop",
            "Stop pouring. Do not stir. Do not pump it into another drum: mixed waste streams "
            "may react, heat up or build pressure.",
        ),
        Caution(
            "danger", "Pressure",
            "Never tighten the bung of a drum that is warm, hisses or bulges. Keep away, everybody "
            "out, call the emergency number.",
        ),
        Caution(
            "warning", "Flash point",
            "A few percent of alcohol makes a bath of glycol ether almost as easy to light as "
            "alcohol. Treat the mixture as flammable until a test says otherwise.",
        ),
        GLOVES,
    ),
    asks=("tank", "drum", "solvent", "lot", "volume_l"),
    follow_ups=(
        FollowUp("own_drum", (
            "The mixture is in a separate drum with its own label. It is a separate stream"
        ), path="waste"),
        FollowUp("contractor", (
            "The waste contractor has been asked what the mixture counts as, and whether it "
            "needs a flash-point test"
        )),
        FollowUp("category", "The month's waste has been checked again with this mixture included",
                 path="waste"),
        FollowUp("parts", "Parts washed since then have been checked"),
        FollowUp("refilled", (
            "The tank has been drained, wiped and refilled, or found to be in order"
        ),
                 is_required=False),
    ),
    holds_tank=True,
    quarantines_drum=True,
)  # fmt: skip

EXPOSURE = Guide(
    key="exposure",
    title="Somebody is hurt",
    about="Burn, cut, splash in the eyes or on the skin, breathing, swallowed, sudden rash",
    cautions=(
        Caution(
            "danger", "Call",
            "One person helps, another calls the emergency number now if somebody is drowsy, "
            "burned or short of breath, has a splash in the eyes, swallowed some, or you are "
            "unsure. Show the data sheet.",
        ),
        Caution(  # 15 minutes: usual in safety data sheets; common practice, no source
            "must", "Eyes",
            "Rinse at once with running water for at least 15 minutes, lids open, contact lenses "
            "out if that is easy. See a doctor.",
        ),
        Caution(
            "must", "Skin",
            "Take wet clothes and gloves off at once. Wash with soap and plenty of water, never "
            "with solvent: it carries resin into the skin. Keep washed skin out of the sun.",
        ),
        Caution(  # 20 minutes: European Resuscitation Council 2021, first aid; from memory
            "must", "Burns",
            "Hold it under cool running water for 20 minutes. Take off rings, and clothes that do "
            "not stick. Press a clean cloth on a wound that bleeds.",
        ),
        Caution(
            "must", "Breathing",
            "Get the person into fresh air without risk to yourself. Keep them warm and at rest, "
            "and stay with them.",
        ),
        Caution(
            "warning", "Swallowed",
            "Do not make them vomit. Rinse the mouth. Call the emergency number or the poison "
            "line.",
        ),
        Caution(
            "warning", "Allergy",
            "Itching, redness or a rash after resin may be an allergy, and that is for life. "
            "Stop working with resin and see a doctor.",
        ),
    ),
    asks=("tank", "solvent", "people"),
    follow_ups=(
        FollowUp("care", "Someone trained has seen the person, or the person has declined"),
        FollowUp("lead", "A lead knows"),
        FollowUp("recorded", "It is in the site's injury record, as local law requires"),
        FollowUp("sheet", "The safety data sheet was at hand; what was missing is now in place"),
        FollowUp("cause", "The cause is found and fixed: gloves, splash, air, way of working"),
    ),
)  # fmt: skip

PICKUP_CANCELLED = Guide(
    key="pickup_cancelled",
    title="Pickup cancelled",
    about="The waste contractor does not come, or comes late",
    cautions=(
        Caution(
            "warning", "Full drums",
            "Do not fill past the line to gain a few days. The drum needs that space for "
                "expansion.",
        ),
        Caution(
            "warning", "Evaporate",
            "Never let waste evaporate to make room: containers stay closed "
            "(40 CFR 262.15(a)(4), 262.16(b)(2)(iii)).",
        ),
        Caution(
            "must", "Days",
            "Check how many days each drum has left before you promise anything else.",
        ),
    ),
    asks=("pickup",),
    is_office=True,
    follow_ups=(
        FollowUp("called", (
            "The contractor has given a new day, or another contractor has been asked"
        ), path="waste"),
        FollowUp("booked", "A new pickup is booked", path="waste"),
        FollowUp("clocks", (
            "Each drum's last day is after the new pickup, or the authority has been asked for "
            "more time"
        ), path="waste",
                 source=(
                     "40 CFR 262.16(d), 262.17(b): 30 days for unforeseeable causes; from memory"
                 )),
        FollowUp("ranked", "Swaps that no longer have drum space are moved"),
    ),
)  # fmt: skip

FIRE = Guide(
    key="fire",
    title="Fire or smoke",
    about="Flames, smoke, a smell of burning, or a glowing or smoking tank or lamp",
    cautions=(
        Caution(
            "danger", "Out",
            "Everybody out now. Raise the alarm, close doors behind you, call the emergency number "
            "from outside. Nobody goes back for anything.",
        ),
        Caution(
            "danger", "Do not",
            "Never aim a water jet at burning solvent: it spreads the fire. Do not pull a plug or "
            "touch a switch near the liquid. Only a trained person tries an extinguisher, once, "
            "with "
            "the way out behind them.",
        ),
        Caution(
            "must", "Tell",
            "Tell the fire service at the gate what is stored and where: solvent, resin, "
                "waste drums.",
        ),
    ),
    asks=("tank", "station", "people"),
    follow_ups=(
        FollowUp("counted", "Everybody has been counted and checked by someone trained"),
        FollowUp("released", (
            "The fire service, or whoever is in charge here, has let people back in"
        )),
        FollowUp("electric", (
            "An electrician checked everything electrical before it was switched back on"
        )),
        FollowUp("extinguisher", "Used extinguishers are replaced", path="duties"),
        FollowUp("reported", "Someone has checked whether it must be reported"),
        FollowUp("cause", "The cause is found and fixed"),
    ),
    holds_tank=True,
    holds_station=True,
)  # fmt: skip

DRUM_WARM = Guide(
    key="drum_warm",
    title="Drum warm, hissing or bulging",
    about="A waste drum or bin is warm, makes a noise, smokes or swells",
    cautions=(
        Caution(
            "danger", "Away",
            "Do not touch, open, tighten, move or cool it. Resin is reacting inside, and a "
            "closed drum bursts. Everybody out of the room, doors closed.",
        ),
        Caution(
            "danger", "Call",
            "Call the emergency number from outside. Say: acrylate resin and solvent, warm drum.",
        ),
        Caution(
            "warning", "Later",
            "A cold drum proves nothing. Someone trained decides when it may be approached.",
        ),
    ),
    asks=("drum", "people"),
    follow_ups=(
        FollowUp("expert", "Someone trained has checked it and says it is safe"),
        FollowUp("contractor", "The contractor has been asked how to remove it", path="waste"),
        FollowUp("cause", "It is known what was poured last, and what light or heat the drum had"),
    ),
    quarantines_drum=True,
)  # fmt: skip

EYE_LIGHT = Guide(
    key="eye_light",
    title="Light in the eyes",
    about="Somebody looked into a lamp or a cure chamber that was on",
    cautions=(
        Caution(
            "must", "Stop",
            "Switch the station off at the supply and leave it off. Take contact lenses out, rest, "
            "avoid bright light.",
        ),
        Caution(
            "warning", "Later",
            "Pain, tears and a feeling of sand in the eyes may come 6 to 12 hours later "
                "(safety data of "
            "ultraviolet lamps; from memory). Tell the person, and whoever is with them tonight.",
        ),
        Caution(
            "must", "Doctor",
            "With blurred sight, a spot that stays, or pain, see a doctor today. Bring the "
            "wavelength of the lamp.",
        ),
    ),
    asks=("station", "people"),
    follow_ups=(
        FollowUp("care", "The person was asked again the next day"),
        FollowUp("interlock", "The station's interlock has been tested and works",
                 path="duties"),
        FollowUp("recorded", "It is in the site's injury record, as local law requires"),
        FollowUp("cause", "The cause is found and fixed"),
    ),
    holds_station=True,
)  # fmt: skip

NEAR_MISS = Guide(
    key="near_miss",
    title="Near miss",
    about="It went well this time",
    cautions=(
        Caution(
            "must", "First",
            "Fix what could hurt the next person. Nobody is blamed for reporting.",
        ),
    ),
    asks=("tank", "people"),
    follow_ups=(
        FollowUp("cause", "The cause is found and fixed"),
        FollowUp("told", "Everyone else here has been told"),
    ),
)  # fmt: skip

GUIDES: Mapping[str, Guide] = {
    guide.key: guide
    for guide in (
        FIRE, EXPOSURE, SPILL, LEAK, WRONG_SOLVENT, DRUM_WARM, EYE_LIGHT, NEAR_MISS,
        PICKUP_CANCELLED,
    )
}  # fmt: skip
"""By what cannot wait: fire and people first, the office last."""
