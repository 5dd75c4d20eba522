"""One thing that went wrong at the made-up room, and how it was settled."""

from demo_data.writing import Log, at


def write_trouble(log: Log) -> None:
    """A drain hose came off at Elder; the tank was held for an hour and released."""
    log.add("incident", at(47, 10.3), id="spill-1", incident="spill-1", problem="spill",
            tank="elder", volume_l=1.2, by="Dunlin",
            done="Hose came off the drain tap. Absorbed, bagged, room aired.")  # fmt: skip
    log.add("tank_held", at(47, 10.31), tank="elder", cause="incident", incident="spill-1",
            reason="Spill at the drain tap.", by="Dunlin")  # fmt: skip
    log.add("tank_released", at(47, 11.5), tank="elder", lead="Curlew",
            reason="New clamp fitted, no drip in half an hour.", by="Curlew")  # fmt: skip
    log.add("incident_closed", at(46, 8.4), incident="spill-1", lead="Curlew",
            reason="Checked the clamps on all drain hoses.", by="Curlew")  # fmt: skip
