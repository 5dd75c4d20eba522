"""What a tank is made of, and what heats or shakes the bath in it."""

from dataclasses import dataclass
from typing import ClassVar

from app.domain.errors import FieldError
from app.domain.roomlog.fields import number, spec
from app.domain.roomlog.kinds.base import LedgerEntry
from app.domain.roomlog.life import Form, Way

BUILD = "tank_build"
MATERIALS = ("metal", "plastic")


@dataclass(frozen=True, kw_only=True)
class TankBuild(LedgerEntry):
    """What a tank is made of, and whether its bath is heated or shaken by ultrasound.

    Over a solvent that then catches fire, a lead says why it may be used all the same.
    """

    kind: ClassVar[str] = "tank_build"
    summary: ClassVar[str] = "How a tank is built"
    sentence: ClassVar[str] = (
        "{by} said how {tank} is built[: {material}][is_ultrasonic?, ultrasonic][, heated to "
        "{heated_to_c}][; {lead} lets it be used: {reason}]"
    )
    reached: ClassVar[Way] = Form(
        at="tank", task="build", link="Material, heat, ultrasound", rank=90,
        title="How {at} is built", heading="How {at} is built",
        about=(
            "The material decides how to bond. Do not heat a flammable bath or use ultrasound in "
            "it unless a lead gives a reason."
        ),
        rows=(("material",), ("is_ultrasonic",), ("heated_to_c",), ("lead",), ("reason",)),
    )  # fmt: skip

    tank: str = spec("key", "Tank", required=True, thing=BUILD)
    material: str | None = spec("choice", "Material", choices=MATERIALS)
    is_ultrasonic: bool | None = spec("flag", "Ultrasonic")
    heated_to_c: float | None = number("Heated to", "C", 20, 150, help="If empty: not heated.")
    lead: str | None = spec("text", "Lead", help="Only if the bath may catch fire.")
    reason: str | None = spec("text", "Why it may be used anyway")

    def problems(self) -> list[FieldError]:
        """A lead and a reason belong together."""
        if bool(self.lead) == bool(self.reason):
            return []
        return [FieldError("lead" if self.reason else "reason", "Enter the lead and the reason.")]


KINDS_OF_BUILDS: tuple[type[LedgerEntry], ...] = (TankBuild,)
