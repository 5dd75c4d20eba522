"""What stands beside the cost: rejected parts, and solvent lost to problems at its price."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

from app.domain.roomlog.kinds import Reject, Removal
from app.domain.roomlog.kinds.incidents import Incident
from app.domain.spend.cost_lines import CostLine
from app.domain.spend.costs import Fill
from app.domain.spend.weekly_costs import losses_of, rejects_of

START = datetime(2026, 1, 5, 8, tzinfo=UTC)


def at(day: float) -> datetime:
    return START + timedelta(days=day)


def bought(day: float, litres: float, cents: int) -> CostLine:
    return CostLine(f"u{day}", at(day), "solvent", cents, "IPA", tank="t1", quantity=litres,
                    unit="L")  # fmt: skip


FILL = Fill("s", at(1), "t1", "isopropanol", 40.0, is_swap=True)
LINES = {"t1": [bought(1, 40, 16_000), bought(2, 2, 1_000)]}


def test_rejected_parts_are_counted_by_finding_and_outcome() -> None:
    found = rejects_of([
        Reject(at=at(1), tank="t1", finding="tacky", parts=4, outcome="washed_again"),
        Reject(at=at(1), tank="t1", finding="tacky"),
        Reject(at=at(2), tank="t1", finding="cracked", parts=2, outcome="scrapped"),
    ])  # fmt: skip
    assert (found.entries, found.parts, found.tacky) == (3, 7, 5)
    assert (found.washed_again, found.scrapped) == (4, 2)


def test_what_was_spilled_from_a_bath_is_worth_what_its_last_litre_cost() -> None:
    # 5 L at 10.00 / 2 L = 25.00.
    spill = Incident(at=at(3), id="i", incident="i1", problem="spill", tank="t1", volume_l=5)
    out = Removal(at=at(3), tank="t1", volume_l=5)
    [loss] = losses_of([spill], [out], [FILL], LINES)
    assert (loss.entry, loss.litres, loss.cents) == ("i", 5, 2_500)


def test_a_spill_that_the_log_took_out_of_no_bath_is_worth_the_litres_it_names() -> None:
    # 1.2 L at 10.00 / 2 L = 6.00; a report of hands wetted by 1.2 L lost nothing.
    spill = Incident(at=at(3), id="i", incident="i1", problem="spill", tank="t1", volume_l=1.2)
    hands = replace(spill, id="j", incident="i2", problem="exposure")
    [loss] = losses_of([spill, hands], [], [FILL], LINES)
    assert (loss.entry, loss.litres, loss.cents) == ("i", 1.2, 600)


def test_a_bath_spoiled_by_another_solvent_is_worth_all_that_its_fill_held() -> None:
    wrong = Incident(at=at(1.5), id="i", incident="i1", problem="wrong_solvent", tank="t1")
    [loss] = losses_of([wrong], [], [FILL], LINES)
    assert (loss.litres, loss.cents) == (40.0, 16_000)


def test_a_loss_without_a_known_price_is_named_without_one() -> None:
    wrong = Incident(at=at(1.5), id="i", incident="i1", problem="wrong_solvent", tank="t1")
    [loss] = losses_of([wrong], [], [FILL], {})
    assert loss.cents is None


def test_a_problem_that_took_nothing_from_a_bath_is_no_loss_of_one() -> None:
    shelf = Incident(at=at(3), id="i", incident="i1", problem="spill", volume_l=5)
    hands = Incident(at=at(3), id="j", incident="i2", problem="exposure", tank="t1")
    assert losses_of([shelf, hands], [], [FILL], LINES) == ()
