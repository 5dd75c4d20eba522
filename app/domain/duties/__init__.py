"""What is due in the room, when it was done last, and by whom."""
