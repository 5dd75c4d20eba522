"""Pages of part lots: find one, its record, recalls, and the forms of what is said of a lot."""
