"""Why the number is what it is: the resin of a bath, summed by what brought or took it."""

from collections.abc import Mapping
from dataclasses import dataclass

from app.domain.roomlog.kinds import KINDS
from app.store.queries import LedgerLine

STARTS = ("tank", "swap")
SILENT = ("reject",)  # they say something of the bath and change nothing in it


@dataclass(frozen=True)
class WhyLine:
    """A sum: what it is, over how many entries, grams of resin with their sign."""

    text: str
    count: int
    grams: float


@dataclass(frozen=True)
class Why:
    """The sums of a fill, which add up to its resin, and the solvent that evaporated, in grams."""

    lines: tuple[WhyLine, ...]
    evaporated_g: float


def why(
    ledger: list[LedgerLine], resin_names: Mapping[str, str], resin_g: float, moved_g: float = 0.0
) -> Why:
    """The sums of a fill; the resin that is not accounted for was there when it began.

    `moved_g` left with a swap that is not complete, and stands in no entry of the bath yet.
    """
    washes = [line for line in ledger if line.kind == "wash"]
    lines = [WhyLine(_carried(line, resin_names), line.count, line.resin_in_g) for line in washes]
    lines.append(WhyLine("Dragged out by parts", 0, -sum(line.resin_out_g for line in washes)))
    lines += [_sum(line) for line in ledger if line.kind not in ("wash", *STARTS, *SILENT)]
    lines.append(WhyLine("Moved by the unfinished swap", 0, -moved_g))
    grams = sum(line.grams for line in lines) + sum(line.correction_g for line in washes)
    lines.insert(0, WhyLine("Already there when the fill began", 0, resin_g - grams))
    shown = tuple(line for line in lines if abs(line.grams) >= 0.5)
    return Why(shown, sum(line.evaporated_g for line in ledger))


def _carried(line: LedgerLine, resin_names: Mapping[str, str]) -> str:
    return f"Came in with {resin_names.get(line.resin or '', line.resin)}"


def _sum(line: LedgerLine) -> WhyLine:
    text = KINDS[line.kind].summary
    if line.kind == "reading":
        text = "Corrected by readings"
        text += f", {line.set_aside} of them set aside" if line.set_aside else ""
    return WhyLine(text, line.count, line.resin_in_g - line.resin_out_g + line.correction_g)
