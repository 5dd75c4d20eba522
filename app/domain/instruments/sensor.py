"""A sensor in the bath that shows saturation itself."""

from collections.abc import Mapping

from app.domain.instruments.model import (
    LIGHTER_THAN_FRESH,
    Alternative,
    BathLiquid,
    InputField,
    Instrument,
    Measured,
)

SENSOR_SD_PERCENT = 0.32


def convert(values: Mapping[str, float], liquid: BathLiquid) -> Measured:  # noqa: ARG001
    """Resin in mass percent as the sensor shows it."""
    percent = values["saturation_percent"]
    notes = (LIGHTER_THAN_FRESH,) if percent < 0 else ()
    others = (percent / 10, percent * 10)
    slips = tuple(Alternative(f"Was {other:.10g} % meant?", other) for other in others)
    return Measured(percent, SENSOR_SD_PERCENT, False, "sensor", notes, alternatives=slips)


SENSOR = Instrument(
    key="sensor",
    name="In-bath sensor",
    fields={
        "saturation_percent": InputField(
            "number", "Saturation", "mass %", -5, 100, step=0.1, help="As the sensor shows it."
        ),
    },
    required=("saturation_percent",),
    filter_sd_percent=SENSOR_SD_PERCENT,
    help="A sensor drifts. A residue test now and then shows how far.",
    convert=convert,
    bias="sensor",
    reads_itself=True,
    words={
        "saturation": "saturation_percent",
        "resin %": "saturation_percent",
        "resin percent": "saturation_percent",
        "concentration": "saturation_percent",
        "sensor": "saturation_percent",
    },
    place=30,
)
