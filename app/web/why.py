"""Why the number is what it is: the resin of a bath, summed by what brought or took it."""

from collections.abc import Mapping
from dataclasses import dataclass

from app.domain.roomlog.kinds import KINDS
from app.store.queries import LedgerLine


@dataclass(frozen=True)
class WhyLine:
    """A sum: what it is, over how many entries, grams of resin with their sign."""

    text: str
    count: int
    grams: float


@dataclass(frozen=True)
class Why:
    """The sums of a fill, and the solvent that evaporated from it in grams."""

    lines: tuple[WhyLine, ...]
    evaporated_g: float


def why(ledger: list[LedgerLine], resin_names: Mapping[str, str]) -> Why:
    """The sums of a fill's ledger; what came to nothing is left out."""
    washes = [line for line in ledger if line.kind == "wash"]
    readings = [line for line in ledger if line.kind == "reading"]
    others = [line for line in ledger if line.kind not in ("wash", "reading")]
    lines = [
        WhyLine(f"Came in with {resin_names.get(line.resin or '', line.resin)}", line.count,
                line.resin_in_g)
        for line in washes
    ]  # fmt: skip
    lines.append(WhyLine("Dragged out by parts", 0, -sum(line.resin_out_g for line in washes)))
    lines.append(_corrections(readings))
    lines += [
        WhyLine(KINDS[line.kind].summary, line.count,
                line.resin_in_g - line.resin_out_g + line.correction_g)
        for line in others
    ]  # fmt: skip
    shown = tuple(line for line in lines if line.count or abs(line.grams) >= 0.5)
    return Why(shown, sum(line.evaporated_g for line in ledger))


def _corrections(readings: list[LedgerLine]) -> WhyLine:
    aside = sum(line.set_aside for line in readings)
    text = "Corrected by readings" + (f", {aside} of them set aside" if aside else "")
    grams = sum(line.correction_g for line in readings)
    return WhyLine(text, sum(line.count for line in readings), grams)
