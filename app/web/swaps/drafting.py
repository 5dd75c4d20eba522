"""A draft of the checklist: its steps as fields of a form, and back."""

import uuid
from collections.abc import Mapping
from typing import Any

from app.domain.checklists.template import MOST_ASKS, Ask, Step
from app.domain.errors import FieldError, FieldErrors
from app.domain.json_text import read_plain_json
from app.units import parse_number

Draft = list[dict[str, Any]]
HANDS = "hands"
"""The one role that a room gives to a step of its own."""


def edited_step(step: dict[str, Any], typed: Mapping[str, str]) -> dict[str, Any]:
    """A step as the form has it; its key stays, and its role but for hands in the tank.

    Raises:
        FieldErrors: a value cannot be read.
    """
    lines = [line.strip() for line in typed.get("confirms", "").splitlines() if line.strip()]
    found: dict[str, Any] = {
        "key": step["key"], "role": _role(step, typed), "title": typed.get("title", "").strip(),
        "text": typed.get("text", ""), "done": typed.get("done", "").strip() or "Done",
        "is_required": bool(typed.get("is_required")), "confirms": lines,
        "asks": [_ask(typed, i) for i in range(MOST_ASKS) if typed.get(f"label_{i}", "").strip()],
    }  # fmt: skip
    if not found["title"]:
        raise FieldErrors([FieldError("title", "Give the step a title.")])
    return found


def _role(step: Mapping[str, Any], typed: Mapping[str, str]) -> str:
    role = str(step.get("role", ""))
    if role not in ("", HANDS):
        return role
    return HANDS if typed.get(HANDS) else ""


def _ask(typed: Mapping[str, str], place: int) -> dict[str, Any]:
    found: dict[str, Any] = {
        "key": typed.get(f"ask_{place}", "") or f"ask_{uuid.uuid4().hex[:8]}",
        "kind": typed.get(f"kind_{place}", ""), "label": typed[f"label_{place}"].strip(),
        "is_required": bool(typed.get(f"must_{place}")),
    }  # fmt: skip
    if found["kind"] == "number":
        found["unit"] = typed.get(f"unit_{place}", "")
        for end in ("low", "high"):
            name = f"{end}_{place}"
            if text := typed.get(name, "").strip():
                try:
                    found[end] = parse_number(text)
                except FieldError as error:
                    raise FieldErrors([FieldError(name, error.message)]) from None
    if found["kind"] == "choice":
        given = typed.get(f"choices_{place}", "").split(",")
        found["choices"] = [one.strip() for one in given if one.strip()]
    return found


def shown_step(step: Mapping[str, Any]) -> dict[str, str]:
    """A step of the draft as its form shows it."""
    values = {name: str(step.get(name, "")) for name in ("title", "text", "done")}
    values["is_required"] = "on" if step.get("is_required", True) else ""
    values[HANDS] = "on" if step.get("role") == HANDS else ""
    values["confirms"] = "\n".join(map(str, step.get("confirms", ())))
    for place, ask in enumerate(step.get("asks", ())):
        values |= {f"{name}_{place}": str(ask.get(name, "")) for name in ("kind", "label", "unit")}
        values |= {f"{end}_{place}": f"{ask[end]:g}" for end in ("low", "high") if end in ask}
        values[f"ask_{place}"] = ask["key"]
        values[f"choices_{place}"] = ", ".join(map(str, ask.get("choices", ())))
        values[f"must_{place}"] = "on" if ask.get("is_required", True) else ""
    return values


def read_draft(typed: Mapping[str, str]) -> Draft:
    """The draft that came along with the page.

    Raises:
        FieldErrors: it is no list of steps.
    """
    try:
        found = read_plain_json(typed.get("draft", ""))
    except ValueError:
        found = None
    if not are_steps(found):
        raise FieldErrors([FieldError("steps", "The draft was lost. Start again.")])
    return found  # type: ignore[no-any-return]


def are_steps(found: Any) -> bool:
    """Whether it is built as a list of steps is, whatever it says."""
    return isinstance(found, list) and all(map(_is_step, found))


def _is_step(one: Any) -> bool:
    """It is built as a step is, whatever it says."""
    if not isinstance(one, dict) or set(one) - set(Step.__dataclass_fields__):
        return False
    texts = [one.get("key"), one.get("title"), one.get("role", ""), one.get("text", "")]
    asks, confirms = one.get("asks", []), one.get("confirms", [])
    if not all(isinstance(text, str) for text in texts) or not isinstance(confirms, list):
        return False
    return isinstance(asks, list) and all(map(_is_ask, asks))


def _is_ask(one: Any) -> bool:
    if not isinstance(one, dict) or set(one) - set(Ask.__dataclass_fields__):
        return False
    ends = [one.get(end) for end in ("low", "high") if end in one]
    is_range = all(isinstance(end, int | float) for end in ends)
    return isinstance(one.get("key"), str) and isinstance(one.get("choices", []), list) and is_range


def new_key(draft: Draft) -> str:
    """A key that no step of the draft has."""
    keys, number = {one.get("key") for one in draft}, len(draft) + 1
    while f"step_{number}" in keys:
        number += 1
    return f"step_{number}"
