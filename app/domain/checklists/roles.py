"""What the program does with a step of a checklist: its role, with all that follows from it.

What is done as the step is ticked stands in `services/acts/swaps/ticking.py`, what it asks for in
`web/swaps/forms.py`, by the key of the role.
"""

from collections.abc import Collection, Mapping
from dataclasses import dataclass


@dataclass(frozen=True)
class Role:
    """A role that a step may have; the usual step has the one without a key.

    Attributes:
        does: in words, after "this step".
        may_repeat: several steps may have it.
        waits_for: roles that must be settled before its step.
        again_after: roles whose later step it has to be done again after: what it confirmed was of
            the drum, or the bath, before.
        needs_contents: it waits until somebody has said what is in the tank.
        gate: what the gate is called that it opens; the key where empty.
        shut: what the gate says while it is shut, without a full stop.
        answers: names of what it asks for itself.
        stays: why nobody passes its step over; empty where a lead may.
        rule: a line of the program's own at the step, whatever the room's words are.
        must_know: what nobody may begin it without knowing as of now, after "must say": a tablet
            that has lost the server waits there. Empty where the step can be done without.
    """

    key: str
    does: str
    may_repeat: bool = False
    waits_for: tuple[str, ...] = ()
    again_after: tuple[str, ...] = ()
    needs_contents: bool = False
    gate: str = ""
    shut: str = ""
    answers: tuple[str, ...] = ()
    stays: str = ""
    rule: str = ""
    must_know: str = ""

    @property
    def opens(self) -> str:
        """The gate that its step opens."""
        return self.gate or self.key


NO_SWAP = "without it there is no swap"

_ALL = (
    Role("", "only what the step says", may_repeat=True),
    Role(
        "ppe", "confirms protection (nothing is opened before it)",
        shut="Protection is not confirmed yet", rule="Open nothing until this step is done.",
    ),
    Role(
        "isolate", "isolates the bath (no hand goes into the tank before it)",
        shut="The bath is not isolated yet. The pump and heater may start",
        stays="a pump or heater that starts can injure hands and eyes",
        rule="Keep your hands out of the tank until this step is done.",
    ),
    Role(
        "isolate_clean", "isolates the clean bath (only in a pair of baths)",
        shut="The clean bath is not isolated yet. Its pump and heater may start",
        stays="a pump or heater that starts can injure hands and eyes",
        rule="Keep your hands out of the clean bath's tank until this step is done.",
    ),
    Role(
        "drum", "chooses the waste drum",
        shut="No drum is chosen yet", answers=("drum",), stays=NO_SWAP,
        must_know="which drum may take this waste",
    ),
    Role(
        "bond", "bonds and earths (nothing flows before it)", again_after=("drum",),
        shut="Tank and drum are not bonded yet", rule="Let nothing flow until this step is done.",
    ),
    Role(
        "drain", "asks what was drained, and pours it into the drum",
        waits_for=("ppe", "isolate", "drum", "bond"), needs_contents=True,
        gate="drained", shut="The bath is not drained yet",
        answers=(
            "drained_l", "heel_l", "mass_before_kg", "mass_after_kg", "dip_before_cm",
            "dip_after_cm", "weighed",
        ),
        stays=NO_SWAP,
        must_know="that the drum is not in quarantine and the tank is not held",
    ),
    Role(
        "inspection", "opens the inspection of the empty tank",
        waits_for=("ppe", "isolate", "drum", "drain"), shut="The empty tank is not inspected yet",
        answers=("inspection",),
        must_know="that the inspection is signed and holds no part",
    ),
    Role(
        "hands", "is done with hands in the empty tank", may_repeat=True,
        waits_for=("ppe", "isolate", "drain"), shut="A step with hands in the tank is still open",
        rule="Hands go into the tank. Isolate and drain the bath first.",
    ),
    Role(
        "rinse", "asks for the rinse, and pours it into the drum", may_repeat=True,
        waits_for=("ppe", "isolate", "drum", "bond", "drain"), needs_contents=True,
        answers=("rinse_l", "weighed", "mass_before_kg", "mass_after_kg"),
        must_know="that the drum is not in quarantine",
    ),
    Role(
        "refit", "confirms that the tank is refitted (nothing is filled before it)",
        waits_for=("ppe", "isolate", "drain"),
        shut="The tank is not refitted yet. Refit it before filling",
        rule="Nothing is filled before this step.",
    ),
    Role(
        "move", "asks what was moved from the clean bath (only in a pair of baths)",
        waits_for=("ppe", "isolate", "isolate_clean", "bond", "drain", "inspection", "refit"),
        needs_contents=True, gate="moved", shut="The clean bath is not moved yet",
        answers=("moved_l",),
        must_know="that neither tank is held",
    ),
    Role(
        "rinse_clean", "asks for the rinse of the clean bath's tank, and pours it into the drum "
        "(only in a pair of baths)",
        waits_for=("ppe", "isolate_clean", "drum", "bond", "move"), needs_contents=True,
        answers=("rinse_l", "weighed", "mass_before_kg", "mass_after_kg"),
        must_know="that the drum is not in quarantine",
    ),
    Role(
        "clean", "readies the tank of the clean bath once that is moved (only in a pair of baths)",
        waits_for=("ppe", "isolate", "isolate_clean", "move"),
        shut="The emptied clean tank is not inspected and wiped yet",
        rule="Hands go into the tank of the clean bath. Move its bath first.",
    ),
    Role(
        "refit_clean", "confirms that the tank of the clean bath is refitted (only in a pair of "
        "baths)",
        waits_for=("ppe", "isolate_clean", "move", "clean"),
        shut="The tank of the clean bath is not refitted yet. Refit it before filling",
        rule="The fresh solvent goes into this tank. Nothing is filled before this step.",
    ),
    Role(
        "fill", "asks what was filled, and takes it from the shelf",
        waits_for=("ppe", "isolate", "bond", "drain", "move", "inspection", "hands", "refit",
                   "isolate_clean", "clean", "refit_clean"),
        needs_contents=True, gate="filled", shut="The bath is not filled yet",
        answers=("lot", "lot_2", "lot_2_l", "filled_l", "fresh_purity_percent",
                 "fresh_purity_volume_percent", "weighed", "mass_before_kg", "mass_after_kg"),
        stays=NO_SWAP,
        must_know="that the tank is not held and the lot may be used",
    ),
    Role(
        "leak_check", "looks for leaks (nothing is switched on before it)",
        waits_for=("fill",), again_after=("move", "fill"), shut="Nobody has looked for leaks yet",
        stays="a leaking bath runs out while nobody is looking",
        rule="Nothing is switched on before this step.",
    ),
    Role(
        "reading", "asks for the first reading of the fresh bath",
        waits_for=("fill",), needs_contents=True, answers=("method",),
    ),
    Role(
        "restart", "switches the bath on again, after all that needs hands or a hose",
        waits_for=("refit", "clean", "refit_clean", "fill", "leak_check", "hands"),
        again_after=("move", "fill"),
        rule="Nobody reaches in, and nothing is open, from here on.",
        must_know="that the tank is not held",
    ),
)  # fmt: skip
ROLES: Mapping[str, Role] = {role.key: role for role in _ALL}

_BOTH = ("", "ppe", "isolate", "move", "leak_check", "restart")
OF_CLEAN = ("isolate_clean", "rinse_clean", "clean", "refit_clean")
"""Roles whose steps are done at the clean bath's tank alone."""
PAIR_ONLY = ("move", *OF_CLEAN)
"""Roles whose steps only a swap of a pair has."""
RINSES = ("rinse", "rinse_clean")
BY_HAND = ("hands", "refit", "clean", "refit_clean")
"""Roles whose steps are done with hands in a tank."""


def tanks_of(
    role: str, tank: str, from_tank: str | None, roles: Collection[str] = ()
) -> tuple[str, ...]:
    """The tanks at which a step of a role is done, of a pair: the dirty bath is drained and gets
    the clean bath's liquid, the clean bath's tank gets the fresh solvent.

    Args:
        roles: those of the swap's list. One that has no step to isolate the clean bath isolates
            both at once.

    >>> tanks_of("drain", "a", "b"), tanks_of("fill", "a", "b"), tanks_of("isolate", "a", "b")
    (('a',), ('b',), ('a', 'b'))
    >>> tanks_of("isolate", "a", "b", ("isolate", "isolate_clean"))
    ('a',)
    """
    if from_tank is None:
        return (tank,)
    if role in (*OF_CLEAN, "fill", "reading"):
        return (from_tank,)
    if role == "isolate" and "isolate_clean" in roles:
        return (tank,)
    return (tank, from_tank) if role in _BOTH else (tank,)
