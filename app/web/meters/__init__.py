"""The room's instruments as things: added, looked at, calibrated."""
