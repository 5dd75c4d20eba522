"""The rules that a site works by: the set it chose, its category, and values of its own."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import date
from functools import cached_property

from app.domain.errors import FieldError
from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.kinds.waste import WASTE_RULES, WasteRules
from app.domain.things import Thing
from app.domain.waste.measures import LITRES_PER_US_GALLON
from app.domain.waste.rule_model import oldest
from app.domain.waste.rules import RULE_SETS, US_FEDERAL, Category, Rule, RuleSet
from app.domain.waste.streams import ALL_MIXED, STREAMS, UNKNOWN, is_ignitable

WIPES = "wipes"
GHS_FLAMMABLE_TO_C = 93.0  # UN GHS, chapter 2.6


@dataclass(frozen=True)
class Edit:
    """A value of the site's own; None takes the set's value out."""

    value: float | None
    source: str
    as_of: date


@dataclass(frozen=True)
class Mark:
    """What labels and papers say of a stream, in the words of the site and its contractor.

    Attributes:
        codes: waste codes; un_number, shipping_name, class_group: as on the shipping paper.
    """

    codes: str = ""
    un_number: str = ""
    shipping_name: str = ""
    class_group: str = ""

    @property
    def shipping(self) -> str:
        """The description of the shipping paper, in its order."""
        parts = (self.un_number, self.shipping_name, self.class_group)
        return ", ".join(part for part in parts if part)


@dataclass(frozen=True)
class RuleBook:
    """The rules in force.

    Attributes:
        is_chosen: the site has said so; until then the set that counts least is shown.
        uncounted: streams that the site found not to count towards its category.
        marks: codes and names for labels and papers by stream, as the site entered them.
    """

    rule_set: str = US_FEDERAL.key
    category_key: str = US_FEDERAL.categories[0].key
    edits: Mapping[str, Edit] = field(default_factory=dict)
    uncounted: tuple[str, ...] = ()
    marks: Mapping[str, Mark] = field(default_factory=dict)
    is_chosen: bool = False

    @property
    def set(self) -> RuleSet:
        """The set of rules."""
        return RULE_SETS.get(self.rule_set, US_FEDERAL)

    @property
    def category(self) -> Category:
        """The site's category."""
        return self.set.category(self.category_key)

    @cached_property
    def rules(self) -> Mapping[str, Rule]:
        """The rules by key, the site's own values in the place of the set's."""
        return {rule.key: self._edited(rule) for rule in self.set.rules}

    def value(self, key: str) -> float | None:
        """A rule's value; None where the set has none or nothing was entered."""
        rule = self.rules.get(key)
        return None if rule is None else rule.value

    def litres(self, key: str) -> float | None:
        """A rule of volume in litres."""
        rule = self.rules.get(key)
        if rule is None or rule.value is None:
            return None
        return rule.value * (LITRES_PER_US_GALLON if rule.unit == "US gal" else 1.0)

    def counts(self, stream: str) -> bool:
        """Whether a stream counts towards the category.

        A site may say so of some only, and of none whose solvent flashes below the rule's bound.
        """
        if stream not in self.uncounted or not STREAMS[stream].may_be_uncounted:
            return True
        return is_ignitable(stream, self.value("flash_c"))

    def excludes(self, stream: str) -> bool:
        """Wipes that the site keeps by the rule that excludes them: own label, own clock."""
        return stream == WIPES and self.value("wipes_days") is not None and not self.counts(stream)

    def label_words(self, stream: str) -> str:
        """What the label of a drum is headed with."""
        is_excluded = self.excludes(stream) and self.set.wipes_words
        return self.set.wipes_words if is_excluded else self.set.label_words

    def status(self, stream: str) -> str:
        """What a stream commonly is by the set's own words; the site's determination decides."""
        found, code, below_c = STREAMS[stream], self.set.flammable_code, self.value("flash_c")
        if not code or stream == UNKNOWN:
            return found.status
        if not found.is_liquid:
            return f"treated as {code} while wet with a flammable solvent"
        if stream in ALL_MIXED:
            return f"may be {code}: needs a flash test (inference, untested)"
        if not found.solvents or below_c is None:
            return "the data sheet and the contractor's profile decide"
        if is_ignitable(stream, below_c):
            return f"commonly {code} (liquid with a flash point below {below_c:g} °C)"
        return f"not {code} by its flash point; its data sheet and the contractor decide"

    @property
    def flammable_to_c(self) -> float:
        """The highest flash point of what counts as a flammable liquid."""
        found = self.value("flammable_c")
        return GHS_FLAMMABLE_TO_C if found is None else found

    @property
    def as_of(self) -> date | None:
        """When the oldest value in force was looked up; None where there is none to look up."""
        return oldest(self.rules.values())

    def to_review(self, today: date, looked_on: date | None = None) -> tuple[Rule, ...]:
        """The rules that should be looked up again by now; `looked_on` is when all last were."""
        found = self.rules.values()
        return tuple(rule for rule in found if rule.is_review_due(today, looked_on))

    def _edited(self, rule: Rule) -> Rule:
        edit = self.edits.get(rule.key)
        if edit is None:
            return rule
        return replace(
            rule, value=edit.value, source=edit.source, as_of=edit.as_of, review_on=None,
            confidence="the site's own",
        )  # fmt: skip


def rule_problems(entry: WasteRules, before: RuleBook) -> list[FieldError]:
    """What does not fit in a change of the rules, given those in force."""
    chosen = entry.rule_set or before.rule_set
    if chosen not in RULE_SETS:
        return [FieldError("rule_set", f"There is no set “{chosen}”: {', '.join(RULE_SETS)}.")]
    rule_set, found = RULE_SETS[chosen], []
    known = {each.key for each in rule_set.categories}
    if entry.category is not None and entry.category not in known:
        found.append(FieldError("category", f"“{rule_set.name}” has no such category."))
    gone = set(entry.edits or {}) - {rule.key for rule in rule_set.rules}
    if gone:
        message = f"“{rule_set.name}” has no rule “{min(gone)}”."
        found.append(FieldError("edits", message))
    return found


def _after(state: RuleBook, entry: Entry) -> RuleBook:
    if not isinstance(entry, WasteRules):
        return state
    edits = state.edits
    if entry.edits is not None:
        edits = {
            key: Edit(edit["value"], edit["source"], date.fromisoformat(edit["as_of"]))
            for key, edit in entry.edits.items()
        }
    uncounted = state.uncounted if entry.uncounted is None else tuple(entry.uncounted)
    marks = state.marks
    if entry.marks is not None:
        marks = {stream: Mark(**mark) for stream, mark in entry.marks.items()}
    is_choice = entry.rule_set is not None or entry.category is not None
    return RuleBook(
        entry.rule_set or state.rule_set, entry.category or state.category_key, edits, uncounted,
        marks, is_chosen=state.is_chosen or is_choice or entry.marks is None,
    )  # fmt: skip


RULES_BOOK = Thing(WASTE_RULES, RuleBook, lambda _: RuleBook(), _after, version=2)
