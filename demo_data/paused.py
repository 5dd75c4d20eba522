"""The swap that is under way in the made-up room: Fir, drained, paused at the inspection."""

from app.domain.checklists.default_template import DEFAULT
from app.domain.checklists.template import as_data
from demo_data.writing import Log, at

SWAP = "fir-paused"
DRAINED_L = 11.4
DONE = (  # step, hour, who, answers, ids of what followed
    ("prepare", 20.75, "Curlew", None, ()),
    ("protect", 20.8, "Curlew", None, ()),
    ("isolate", 20.85, "Curlew", None, ()),
    ("choose_drum", 20.95, "Dunlin", {"drum": "d-05"}, ()),
    ("bond", 21.0, "Dunlin", None, ()),
    ("drain", 21.2, "Dunlin", {"drained_l": DRAINED_L, "heel_l": 0.2}, ("fir-paused-pour",)),
)  # fmt: skip


def write_paused_swap(log: Log) -> None:
    """Started the evening before, by two people; the empty tank waits for the inspection."""
    log.add("swap_started", at(1, 20.7), tank="fir", swap=SWAP, by="Curlew",
            note="A second pair of eyes on the shaft seal in the morning.")  # fmt: skip
    log.add("swap_opened", at(1, 20.7), swap=SWAP, tank="fir", checklist=DEFAULT.key,
            version=DEFAULT.version, steps=as_data(DEFAULT.steps), estimated_l=11.6, capacity_l=12,
            min_l=9, solvent="isopropanol", by="Curlew")  # fmt: skip
    log.add("pour", at(1, 21.2), id="fir-paused-pour", drum="d-05", tank="fir", swap=SWAP,
            volume_l=DRAINED_L, stream="isopropanol_resin", by="Dunlin")  # fmt: skip
    for step, hour, who, answers, wrote in DONE:
        more = {name: value for name, value in (("answers", answers), ("wrote", wrote)) if value}
        log.add("step_done", at(1, hour), swap=SWAP, step=step, by=who, **more)
