"""What to do when something goes wrong, and what was done: guides as data, incidents as a fold."""
