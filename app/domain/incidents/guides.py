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
        holds_tank, quarantines_drum: the tank or drum named is put out of use.
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
    quarantines_drum: bool = False
    adds_waste: bool = False

    @property
    def required(self) -> tuple[str, ...]:
        """Keys of the follow-ups that must be settled before it is closed."""
        return tuple(step.key for step in self.follow_ups if step.is_required)


IGNITION = Caution(
    "danger", "Fire",
    "Vapour at the liquid can catch fire at room temperature and runs along the floor. No flame, "
    "no spark, no switch thrown where the vapour is. Large, near heat, or anybody feels unwell: "
    "everybody out, close the door, call the emergency number from outside.",
)  # fmt: skip
GLOVES = Caution(
    "must", "Protect",
    "Gloves and glasses on before you touch it. Solvent with resin in it goes through thin gloves "
    "fast: change them at once after a splash.",
)  # fmt: skip
AIR = Caution(
    "must", "Air",
    "Extraction on and doors to the outside open where that throws no switch near the vapour. Do "
    "not judge by the smell.",
)  # fmt: skip
NO_DRAIN = Caution(
    "warning", "Drain",
    "Nothing into a sink, a floor drain or the ground. Block the drain first where it runs there.",
)  # fmt: skip

SPILL = Guide(
    key="spill",
    title="Spill",
    about="Solvent, bath or resin on the floor, the bench or a person's things",
    cautions=(
        IGNITION, AIR, GLOVES, NO_DRAIN,
        Caution(
            "must", "Soak up",
            "Absorbent from the outside in. Into a closed metal bin or the drum for solids, never "
            "an open one, never the ordinary bin.",
        ),
    ),
    asks=("tank", "source", "volume_l", "waste"),
    follow_ups=(
        FollowUp("waste", "What was soaked up stands in a closed, labelled waste container, and "
                 "its pour is entered", path="waste", source="40 CFR 262.15(a)(4)"),
        FollowUp("reported", "Someone has looked whether this amount must be reported "
                 "(local rules, site permit, landlord)"),
        FollowUp("kit", "The spill kit is full again"),
        FollowUp("cause", "The cause is found and put right"),
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
            "A pump whose level sinks below its intake runs dry and gets hot. Do not restart it to "
            "see where it leaks.",
        ),
    ),
    asks=("tank", "drum", "volume_l", "waste"),
    follow_ups=(
        FollowUp("contents", "The contents of a leaking drum are in a sound one", is_required=False,
                 path="waste", source="40 CFR 262.16(b)(2)(i)"),
        FollowUp("waste", "What leaked stands in a closed, labelled waste container, and its pour "
                 "is entered", path="waste"),
        FollowUp("inspected", "The part that leaked was inspected and replaced"),
        FollowUp("tested", "Filled again, it stayed dry for ten minutes before it was released"),
        FollowUp("reported", "Someone has looked whether this amount must be reported"),
    ),
    holds_tank=True,
    quarantines_drum=True,
    adds_waste=True,
)  # fmt: skip

WRONG_SOLVENT = Guide(
    key="wrong_solvent",
    title="Wrong solvent poured",
    about="Something went into a tank or a drum that does not belong there",
    cautions=(
        Caution(
            "danger", "Stop",
            "Pour nothing more and stir nothing. Do not pump it into another drum: a mixture of "
            "waste streams may react, warm up or build pressure.",
        ),
        Caution(
            "danger", "Pressure",
            "Never tighten the bung of a drum that is warm, hisses or bulges. Keep away, everybody "
            "out, call the emergency number.",
        ),
        Caution(
            "warning", "Flash point",
            "A few percent of alcohol make a slow bath of glycol ether as easy to light as "
            "alcohol. Treat the mixture as flammable until a test says otherwise.",
        ),
        GLOVES,
    ),
    asks=("tank", "drum", "solvent", "lot", "volume_l"),
    follow_ups=(
        FollowUp("own_drum", "The mixture has a drum of its own with its own label: it is a stream "
                 "of its own", path="waste"),
        FollowUp("contractor", "The waste contractor was asked what the mixture is, and whether it "
                 "needs a flash-point test"),
        FollowUp("category", "The month's waste was looked at again with this mixture in it",
                 path="waste"),
        FollowUp("parts", "Parts washed since were looked at"),
        FollowUp("refilled", "The tank was drained, wiped and refilled, or found in order",
                 is_required=False),
    ),
    holds_tank=True,
    quarantines_drum=True,
)  # fmt: skip

EXPOSURE = Guide(
    key="exposure",
    title="Somebody was exposed",
    about="Eyes, skin, breathing, swallowed, or sudden itching or rash",
    cautions=(
        Caution(
            "danger", "Call",
            "Not breathing well, drowsy, burned, eyes hit, swallowed, or you are unsure: one "
            "helps, another calls the emergency number now. Show the data sheet to those who come.",
        ),
        Caution(
            "must", "Eyes",
            "Rinse at once with plenty of running water for at least 15 minutes, lids held open, "
            "lenses out if it is easy. Then to a doctor. (15 minutes: usual in safety data sheets; "
            "common practice, no source.)",
        ),
        Caution(
            "must", "Skin",
            "Clothes and gloves that are wet off at once. Wash with soap and plenty of water, "
            "never with solvent: it carries resin into the skin. Keep washed skin out of the sun.",
        ),
        Caution(
            "must", "Breathing",
            "Into fresh air, without putting yourself at risk. Keep the person warm and at rest "
            "and stay with them.",
        ),
        Caution(
            "warning", "Swallowed",
            "Do not make them vomit. Rinse the mouth. Call the emergency number or the poison "
            "line.",
        ),
        Caution(
            "warning", "Allergy",
            "Itching, redness or a rash after resin may be an allergy, and stays for life. Stop "
            "working with resin and see a doctor.",
        ),
    ),
    asks=("tank", "solvent", "people"),
    follow_ups=(
        FollowUp("care", "The person was seen by someone trained, or does not want it"),
        FollowUp("lead", "A lead knows"),
        FollowUp("recorded", "It stands in the site's record of injuries, as the law there asks"),
        FollowUp("sheet", "The safety data sheet was at hand; what was missing is put there"),
        FollowUp("cause", "The cause is found and put right: gloves, splash, air, way of working"),
    ),
)  # fmt: skip

PICKUP_CANCELLED = Guide(
    key="pickup_cancelled",
    title="Pickup cancelled",
    about="The waste contractor does not come, or comes late",
    cautions=(
        Caution(
            "warning", "Full drums",
            "Do not fill past the line to gain a few days. A drum needs its space to expand.",
        ),
        Caution(
            "warning", "Evaporate",
            "Never let waste evaporate to make room: containers stay closed "
            "(40 CFR 262.15(a)(4), 262.16(b)(2)(iii)).",
        ),
        Caution(
            "must", "Days",
            "Look at the days each drum has left before anything else is promised.",
        ),
    ),
    asks=("pickup",),
    is_office=True,
    follow_ups=(
        FollowUp("called", "The contractor gave a new day, or another one was asked", path="waste"),
        FollowUp("booked", "A new pickup is booked", path="waste"),
        FollowUp("clocks", "Each drum's last day lies behind the new pickup, or the authority was "
                 "asked for more time", path="waste",
                 source="40 CFR 262.16(d), 262.17(b): 30 days for what nobody could foresee; "
                 "from memory"),
        FollowUp("ranked", "The swaps that no longer find drum space are moved"),
    ),
)  # fmt: skip

FIRE = Guide(
    key="fire",
    title="Fire or smoke",
    about="Flames, smoke, a smell of burning, a tank or lamp that glows or smokes",
    cautions=(
        Caution(
            "danger", "Out",
            "Everybody out now. Raise the alarm, close doors behind you, call the emergency number "
            "from outside. Nobody goes back for anything.",
        ),
        Caution(
            "danger", "Do not",
            "No water on burning solvent: it floats and spreads. Pull no plug and throw no switch "
            "beside the liquid. Only a trained person tries an extinguisher, once, with the way "
            "out behind them.",
        ),
        Caution(
            "must", "Tell",
            "Say at the gate what is stored: solvent, resin, waste drums, and where they stand.",
        ),
    ),
    asks=("tank", "people"),
    follow_ups=(
        FollowUp("counted", "Everybody was counted and looked at by someone trained"),
        FollowUp("released", "The fire service, or whoever has the say here, let people back in"),
        FollowUp("electric", "An electrician looked at what had power before it got any again"),
        FollowUp("extinguisher", "Used extinguishers are replaced", path="duties"),
        FollowUp("reported", "Someone has looked whether it must be reported"),
        FollowUp("cause", "The cause is found and put right"),
    ),
    holds_tank=True,
)  # fmt: skip

DRUM_WARM = Guide(
    key="drum_warm",
    title="Drum warm, hissing or bulging",
    about="A waste drum or bin is warm, makes a noise, smokes or swells",
    cautions=(
        Caution(
            "danger", "Away",
            "Do not touch, open, tighten, move or cool it: resin reacts inside, and a closed drum "
            "bursts. Everybody out of the room, doors closed.",
        ),
        Caution(
            "danger", "Call",
            "Call the emergency number from outside. Say: acrylate resin and solvent, warm drum.",
        ),
        Caution(
            "warning", "Later",
            "Cold to the hand says nothing. Who is trained says when it may be looked at.",
        ),
    ),
    asks=("drum", "people"),
    follow_ups=(
        FollowUp("expert", "Someone trained has looked at it and said that it is safe"),
        FollowUp("contractor", "The waste contractor was asked how it leaves", path="waste"),
        FollowUp("cause", "What was poured last, and what light or heat it had, is known"),
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
            "Switch the station off at the supply and leave it off. Lenses out, rest, no bright "
            "light.",
        ),
        Caution(
            "warning", "Later",
            "Pain, tears and a feeling of sand may come 6 to 12 hours later (safety data of "
            "ultraviolet lamps; from memory). Tell the person, and who is with them tonight.",
        ),
        Caution(
            "must", "Doctor",
            "Blurred sight, a spot that stays, or pain: to a doctor today, with the wavelength of "
            "the lamp.",
        ),
    ),
    asks=("people",),
    follow_ups=(
        FollowUp("care", "The person was asked again the next day"),
        FollowUp("interlock", "The interlock of the station was tested, and is in order",
                 path="duties"),
        FollowUp("recorded", "It stands in the site's record of injuries, as the law there asks"),
        FollowUp("cause", "The cause is found and put right"),
    ),
)  # fmt: skip

NEAR_MISS = Guide(
    key="near_miss",
    title="Near miss",
    about="It went well this time",
    cautions=(
        Caution(
            "must", "First",
            "Put right what could hurt the next one. Nobody is blamed for reporting.",
        ),
    ),
    asks=("tank", "people"),
    follow_ups=(
        FollowUp("cause", "The cause is found and put right"),
        FollowUp("told", "The others here know"),
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
