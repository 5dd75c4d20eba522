"""What the room's solvent costs: by entry, by week and cause, in the weeks to come, what if."""
