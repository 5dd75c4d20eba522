"""Roll-ups of costs: their tables, how they are stored, and what pages ask of them."""
