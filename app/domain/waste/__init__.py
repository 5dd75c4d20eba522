"""Waste: the drums and what they hold, the counters and days that rules ask for, the rules as data.

Local rules and the licensed waste contractor decide; every figure of a rule carries its source.
"""
