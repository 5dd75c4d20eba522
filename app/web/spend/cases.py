"""What-if cases read from a form or an address: a message beside each field that does not fit."""

from collections.abc import Mapping
from typing import Any

from app.domain.errors import FieldError, FieldErrors
from app.domain.roomlog.kinds.spending import CASE_NUMBERS, CASE_WORDS, check_case
from app.domain.solvents import SOLVENTS
from app.domain.spend.price_book import CaseState
from app.domain.spend.whatif.cases import PricesNow
from app.units import parse_number

PLACES = ("a", "b", "c")  # the first of the four is the room as it is kept
LONGEST_NAME = 60
FIELDS = {
    "limit_percent": ("Swap limit", "mass %"),
    "size_percent": ("Bath size", "% of now"),
    "renew_percent": ("Topped up instead of swapped: drained first", "% of it"),
    "container_l": ("Container", "L"),
    "container_price": ("Price of a container", "money"),
    "disposal_per_drum": ("Disposal, per drum", "money"),
    "disposal_per_kg": ("Disposal, per kg", "money"),
    "recovery_percent": ("Solvent recovered by a still", "%"),
    "recovery_per_l": ("Cost of recovery, per L", "money"),
}
BATH_WORDS = {"as_now": "as now", "single": "single baths", "paired": "dirty and clean pairs"}


def read_case(place: str, values: Mapping[str, str], prices: PricesNow) -> dict[str, Any]:
    """The changes typed for one of the cases, held against what the room pays.

    Raises:
        FieldErrors: with a message for each field that does not fit.
    """
    errors: list[FieldError] = []
    changes: dict[str, Any] = {}
    for name in (*CASE_NUMBERS, *CASE_WORDS, "solvent"):
        text = values.get(f"{place}_{name}", "").strip()
        if not text or text == "as_now":
            continue
        try:
            changes |= check_case({name: parse_number(text) if name in CASE_NUMBERS else text})
        except FieldError as error:
            errors.append(_error(place, name, error.message))
        except ValueError as error:
            errors.append(_error(place, name, str(error)))
    errors += _misfits(place, values, changes, prices)
    if len(values.get(f"{place}_name", "").strip()) > LONGEST_NAME:
        errors.append(_error(place, "name", f"A name may have at most {LONGEST_NAME} letters."))
    if errors:
        raise FieldErrors(errors)
    return changes


def _error(place: str, name: str, message: str) -> FieldError:
    return FieldError(
        f"{place}_{name}", f"Case {place.upper()}: {message[:1].lower()}{message[1:]}"
    )


def _misfits(
    place: str, values: Mapping[str, str], changes: Mapping[str, Any], prices: PricesNow
) -> list[FieldError]:
    """Changes that say nothing without another, or that say two things at once."""
    typed = {name for name in FIELDS if values.get(f"{place}_{name}", "").strip()}
    found = []
    if {"disposal_per_drum", "disposal_per_kg"} <= typed:
        found.append(_error(place, "disposal_per_kg", "Enter the disposal per drum or per kg, "
                                                      "not both."))  # fmt: skip
    if "container_price" in typed and "container_l" not in typed and not prices.container_l:
        found.append(_error(place, "container_l", "Enter the size of the container too."))
    if "recovery_per_l" in typed and "recovery_percent" not in typed:
        found.append(_error(place, "recovery_percent", "Enter how much the still recovers."))
    solvent = changes.get("solvent")
    if solvent is None or solvent in prices.solvent_cents_per_l:
        return found
    if "container_price" not in typed:
        message = (
            f"Nobody has bought {SOLVENTS[solvent].name} here yet. Enter the price of a container."
        )
        found.append(_error(place, "container_price", message))
    if "container_l" not in typed and not prices.container_l:
        found.append(_error(place, "container_l", "Enter the size of the container too."))
    return found


def with_kept(values: Mapping[str, str], case: CaseState | None) -> tuple[dict[str, str], bool]:
    """A kept case written into the first free column; False where none is free."""
    if case is None:
        return dict(values), True
    used = {name[0] for name, text in values.items() if name[1:2] == "_" and text.strip()}
    place = next((one for one in PLACES if one not in used), None)
    if place is None:
        return dict(values), False
    shown = {
        f"{place}_{name}": f"{value:g}" if isinstance(value, float | int) else str(value)
        for name, value in case.changes.items()
    }
    return {**values, **shown, f"{place}_name": case.name}, True


def of_place(place: str, values: Mapping[str, str]) -> dict[str, str]:
    """What was typed for one case."""
    return {name: text for name, text in values.items() if name.startswith(f"{place}_")}
