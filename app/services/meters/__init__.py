"""The room's instruments as things."""
