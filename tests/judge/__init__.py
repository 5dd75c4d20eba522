"""A made-up room whose truth is known, and the judge that holds estimates and forecasts to it."""
