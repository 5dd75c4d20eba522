"""Swaps ahead: what each needs, whether it is there, and the days they are proposed for."""
