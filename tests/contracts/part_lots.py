"""How the reads of part lots are asked of the demo, by their address below a room."""

QUESTIONS = {
    "/part-lots/record": "?lot=L2120",
    "/part-lots/recall": (
        "?reason=tank+on+hold&since=2026-01-01T00:00:00Z&until=2026-03-01T00:00:00Z"
    ),
}
