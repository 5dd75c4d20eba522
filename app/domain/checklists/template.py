"""What a checklist is made of, and how it is read.

Some steps have a role: the program knows what they do and what they need first. The others are
the room's own words. What makes a list dangerous to follow stands in `dangers`.
"""

import math
import re
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass
from typing import Any

from app.domain.checklists.roles import ROLES

KEY = re.compile(r"[a-z][a-z0-9_]{0,39}")
ASK_KINDS = ("number", "choice", "note", "photo", "second")
UNITS = ("", "L", "C", "kg", "g", "min", "h", "mm", "%")
MOST_STEPS, MOST_CONFIRMS, MOST_ASKS = 60, 8, 6
LONGEST_TITLE, LONGEST_TEXT, LONGEST_LINE = 80, 1000, 160


OWN_ANSWERS = frozenset(name for role in ROLES.values() for name in role.answers)
"""Names of what the roles ask for themselves."""


@dataclass(frozen=True)
class Ask:
    """One thing that a step asks for.

    Attributes:
        kind: `number`, `choice`, `note`, `photo`, or `second`: somebody else who stood by.
        unit, low, high: of a number; the range holds both ends.
        choices: of a choice.
    """

    key: str
    kind: str
    label: str
    unit: str = ""
    low: float | None = None
    high: float | None = None
    choices: tuple[str, ...] = ()
    is_required: bool = True


@dataclass(frozen=True)
class Step:
    """One step.

    Attributes:
        title: the instruction in one line; text: what to know beside it.
        done: what the button says once it is done.
        role: what the program does with it (`ROLES`).
        confirms: each is ticked by itself before the step can be.
    """

    key: str
    title: str
    text: str = ""
    done: str = "Done"
    role: str = ""
    is_required: bool = True
    confirms: tuple[str, ...] = ()
    asks: tuple[Ask, ...] = ()


@dataclass(frozen=True)
class Template:
    """A checklist in one of its versions."""

    key: str
    name: str
    version: int
    steps: tuple[Step, ...]


def as_data(steps: Iterable[Step]) -> list[dict[str, Any]]:
    """Steps as JSON; what is as usual is left out."""
    return [_sparse(step) for step in steps]


def steps_of(data: Any) -> tuple[Step, ...]:
    """The steps that JSON describes.

    Raises:
        ValueError: they are not built as a list is; the message says what to change.
    """
    if not isinstance(data, list | tuple) or not data:
        raise ValueError("The list has no steps. A checklist needs at least one.")
    if len(data) > MOST_STEPS:
        raise ValueError(f"At most {MOST_STEPS} steps; this has {len(data)}.")
    steps = tuple(_step(place, raw) for place, raw in enumerate(data, 1))
    _check_keys([step.key for step in steps], "steps")
    _check_roles(steps)
    return steps


def checked_steps(data: Any) -> list[dict[str, Any]]:
    """The same steps as they are stored.

    Raises:
        ValueError: as `steps_of`.
    """
    return as_data(steps_of(data))


def restored_steps(data: Any) -> tuple[Step, ...]:
    """Steps that were checked when they were stored; total, what does not fit is left out."""
    try:
        return steps_of(data)
    except (ValueError, TypeError, KeyError, AttributeError):
        return ()


def _sparse(step: Step) -> dict[str, Any]:
    usual = asdict(Step("", ""))
    found = {name: value for name, value in asdict(step).items() if value != usual.get(name)}
    if step.confirms:
        found["confirms"] = list(step.confirms)
    if step.asks:
        found["asks"] = [_sparse_ask(ask) for ask in step.asks]
    return found


def _sparse_ask(ask: Ask) -> dict[str, Any]:
    usual = asdict(Ask("", "", ""))
    found = {name: value for name, value in asdict(ask).items() if value != usual[name]}
    if ask.choices:
        found["choices"] = list(ask.choices)
    return found


def _step(place: int, raw: Any) -> Step:
    where = f"Step {place}"
    if not isinstance(raw, Mapping) or set(raw) - set(Step.__dataclass_fields__):
        raise ValueError(f"{where} is not a valid step.")
    title = _text(raw.get("title", ""), f"{where}: its title", LONGEST_TITLE)
    if not title:
        raise ValueError(f"{where} has no title.")
    role = raw.get("role", "")
    if role not in ROLES:
        raise ValueError(f"{where} ({title}): there is no role “{str(role)[:40]}”.")
    confirms, asks = raw.get("confirms", ()), raw.get("asks", ())
    if len(confirms) > MOST_CONFIRMS or len(asks) > MOST_ASKS:
        most = f"{MOST_CONFIRMS} points to confirm and {MOST_ASKS} questions"
        raise ValueError(f"{where} ({title}): at most {most}.")
    found = Step(
        key=_key(raw.get("key"), where), title=title, role=role,
        text=_text(raw.get("text", ""), f"{where}: its text", LONGEST_TEXT),
        done=_text(raw.get("done", "Done"), f"{where}: its button", 30) or "Done",
        is_required=_flag(raw.get("is_required", True), where),
        confirms=tuple(_line(line, f"{where} ({title}): a point to confirm") for line in confirms),
        asks=tuple(_ask(ask, f"{where} ({title})") for ask in asks),
    )  # fmt: skip
    _check_keys([ask.key for ask in found.asks], f"questions of step {place}")
    return found


def _ask(raw: Any, where: str) -> Ask:
    if not isinstance(raw, Mapping) or set(raw) - set(Ask.__dataclass_fields__):
        raise ValueError(f"{where}: a question is not in the right form.")
    label = _line(raw.get("label", ""), f"{where}: a question")
    key, kind, unit = _key(raw.get("key"), where), raw.get("kind"), raw.get("unit", "")
    if key in OWN_ANSWERS:
        raise ValueError(f"{where}: the name “{key}” is reserved for the program.")
    if kind not in ASK_KINDS:
        raise ValueError(f"{where} ({label}): a question must be one of {', '.join(ASK_KINDS)}.")
    if unit not in UNITS:
        known = ", ".join(filter(None, UNITS))
        raise ValueError(f"{where} ({label}): “{str(unit)[:20]}” is not one of the units {known}.")
    low, high = (_number(raw.get(end), f"{where} ({label})") for end in ("low", "high"))
    if low is not None and high is not None and not low < high:
        raise ValueError(f"{where} ({label}): the range {low:g} to {high:g} is empty.")
    choices = tuple(_line(one, f"{where} ({label}): a choice") for one in raw.get("choices", ()))
    if kind == "choice" and (len(choices) < 2 or len(set(choices)) < len(choices)):
        raise ValueError(f"{where} ({label}): give at least two choices, each once.")
    return Ask(
        key, kind, label, unit, low, high, choices, _flag(raw.get("is_required", True), where)
    )


def _check_keys(keys: list[str], what: str) -> None:
    if twice := [key for place, key in enumerate(keys) if key in keys[:place]]:
        raise ValueError(f"Two {what} have the key “{twice[0]}”. Each needs its own.")


def _check_roles(steps: tuple[Step, ...]) -> None:
    roles = [step.role for step in steps]
    for key in dict.fromkeys(roles):
        if roles.count(key) > 1 and not ROLES[key].may_repeat:
            raise ValueError(f"Only one step may be the one that {ROLES[key].does}.")


def _key(value: Any, where: str) -> str:
    if not isinstance(value, str) or not KEY.fullmatch(value):
        raise ValueError(
            f"{where}: its key must be 1 to 40 lower-case letters, digits or underscores."
        )
    return value


def _flag(value: Any, where: str) -> bool:
    if not isinstance(value, bool):
        raise ValueError(f"{where}: required must be true or false.")
    return value


def _number(value: Any, where: str) -> float | None:
    if value is None:
        return None
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise ValueError(f"{where}: the ends of the range must be numbers.")
    return float(value)


def _line(value: Any, what: str) -> str:
    if not (line := _text(value, what, LONGEST_LINE)):
        raise ValueError(f"{what} is empty.")
    return line


def _text(value: Any, what: str, longest: int) -> str:
    if not isinstance(value, str):
        raise ValueError(f"{what} must be text.")
    text = value.replace("\r\n", "\n").strip()
    if len(text) > longest:
        raise ValueError(f"{what} has {len(text)} characters; at most {longest}.")
    if any(not (c.isprintable() or c == "\n") for c in text):
        raise ValueError(f"{what} has characters that cannot be stored.")
    return text
