"""What the program does with a step of a checklist: its role, with all that follows from it.

What is done as the step is ticked stands in `services/acts/swaps/ticking.py`, what it asks for in
`web/swaps/forms.py`, by the key of the role.
"""

from collections.abc import Mapping
from dataclasses import dataclass


@dataclass(frozen=True)
class Role:
    """A role that a step may have; the usual step has the one without a key.

    Attributes:
        does: in words, after "this step".
        is_needed: a checklist has a required step of it.
        may_repeat: several steps may have it.
        before: roles whose steps stand after it.
        waits_for: roles that must be settled before its step.
        needs_contents: it waits until somebody has said what is in the tank.
        gate: what the gate is called that it opens; the key where empty.
        shut: what the gate says while it is shut, without a full stop.
        answers: names of what it asks for itself.
    """

    key: str
    does: str
    is_needed: bool = False
    may_repeat: bool = False
    before: tuple[str, ...] = ()
    waits_for: tuple[str, ...] = ()
    needs_contents: bool = False
    gate: str = ""
    shut: str = ""
    answers: tuple[str, ...] = ()

    @property
    def opens(self) -> str:
        """The gate that its step opens."""
        return self.gate or self.key


_ALL = (
    Role("", "nothing but what the step says", may_repeat=True),
    Role(
        "ppe", "confirms protection: nothing is opened before it", is_needed=True,
        before=("drain", "rinse"), shut="Protection is not confirmed yet",
    ),
    Role(
        "drum", "chooses the waste drum", is_needed=True,
        before=("drain",), shut="No drum is chosen yet", answers=("drum",),
    ),
    Role(
        "drain", "asks what was drained, and pours it into the drum", is_needed=True,
        before=("refit", "move", "rinse"), waits_for=("ppe", "drum"), needs_contents=True,
        gate="drained", shut="The bath is not drained yet",
        answers=(
            "drained_l", "heel_l", "mass_before_kg", "mass_after_kg", "dip_before_cm",
            "dip_after_cm",
        ),
    ),
    Role(
        "inspection", "opens the inspection of the empty tank",
        waits_for=("ppe", "drain"), shut="The empty tank is not inspected yet",
        answers=("inspection",),
    ),
    Role(
        "rinse", "asks for the rinse, and pours it into the drum", may_repeat=True,
        waits_for=("ppe", "drum", "drain"), needs_contents=True, answers=("rinse_l",),
    ),
    Role(
        "refit", "confirms that the tank is refitted: nothing is filled before it", is_needed=True,
        before=("move", "fill"), waits_for=("ppe", "drain"),
        shut="The tank is not refitted yet: refit before filling",
    ),
    Role(
        "move", "only with a pair of baths: asks what was moved from the clean bath",
        before=("fill",), waits_for=("ppe", "drain", "inspection", "refit"), needs_contents=True,
        gate="moved", shut="The clean bath is not moved yet", answers=("moved_l",),
    ),
    Role(
        "fill", "asks what was filled, and takes it from the shelf", is_needed=True,
        before=("reading",), waits_for=("ppe", "drain", "move", "inspection", "refit"),
        needs_contents=True, gate="filled", shut="The bath is not filled yet",
        answers=("lot", "lot_2", "lot_2_l", "filled_l", "fresh_purity_percent"),
    ),
    Role(
        "reading", "asks for the first reading of the fresh bath",
        waits_for=("fill",), needs_contents=True, answers=("method",),
    ),
)  # fmt: skip
ROLES: Mapping[str, Role] = {role.key: role for role in _ALL}
