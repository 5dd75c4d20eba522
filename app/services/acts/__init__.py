"""What people do in the room, each act through the one door."""
