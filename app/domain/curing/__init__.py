"""Curing: stations and their lamps, output over hours, doses, drying before the light."""
