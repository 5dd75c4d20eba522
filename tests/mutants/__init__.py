"""Mutation testing of the domain: do the tests notice an error that is planted?

`python3 -m app test --mutants` runs it. The library mutmut plants the errors and runs, for each,
the tests that reach the function it is in. Two things are added to it and one is taken away:
`min` and `max` change places, since a day of need or a limit hangs on them; a text is changed
once, not three times.
"""
