"""The swap as a list of steps: its template, its course, its gates, its close."""
