"""Part lots: their records, their release, and recalls."""
