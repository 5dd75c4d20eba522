"""Parts that the last looks condemned, which the next swaps replace."""

from collections.abc import Mapping

from app.domain.inspections.components import ComponentState

REPLACED = ("replace", "replace_with_mate", "take_out_of_service")


def due_by_item(components: Mapping[str, ComponentState]) -> dict[str, dict[str, float]]:
    """How many of an item are to be replaced at each tank's next swap: the parts that the last
    look condemned, and their mates where it said so. A part without an item goes by its name."""
    condemned: set[str] = set()
    for key, part in components.items():
        verdict = part.standing.verdict if part.standing is not None else ""
        if verdict in REPLACED:
            condemned |= {key, part.mate} if verdict == "replace_with_mate" else {key}
    due: dict[str, dict[str, float]] = {}
    for key in sorted(condemned & components.keys()):
        part = components[key]
        if part.tank:
            of_item = due.setdefault(part.item or part.name, {})
            of_item[part.tank] = of_item.get(part.tank, 0.0) + 1
    return due
