"""What a year would cost under other rules, on the room's own load."""
