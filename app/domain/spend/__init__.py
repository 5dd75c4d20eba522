"""What the room's solvent costs: by week, by cause, ahead, and under other rules."""
