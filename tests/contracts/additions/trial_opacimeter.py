"""An instrument that nobody has: it tries what one module in `domain/instruments` brings about."""

from collections.abc import Mapping

from app.domain.instruments.model import BathLiquid, InputField, Instrument, Measured, Told

PERCENT_PER_OPACITY = 0.5


def convert(values: Mapping[str, float], liquid: BathLiquid) -> Measured:  # noqa: ARG001
    """Resin in mass percent: half of the opacity."""
    percent = PERCENT_PER_OPACITY * values["opacity_percent"]
    return Measured(percent, 0.4, False, "trial_opacimeter", told=Told("resin", (percent,)))


TRIAL_OPACIMETER = Instrument(
    key="trial_opacimeter",
    name="Trial opacimeter",
    fields={"opacity_percent": InputField("number", "Opacity", "%", 0, 100, step=0.5)},
    required=("opacity_percent",),
    filter_sd_percent=0.4,
    help="Hold the sample against the light.",
    convert=convert,
    words={"cloudiness": "opacity_percent"},
)
