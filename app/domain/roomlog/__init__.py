"""The room log: everything that happens in a room, as typed, append-only entries.

`fields` describes one value of an entry, `kinds` lists the entries there are, `lines` turns JSON
Lines into entries and back, `history` says which entries count once corrections are taken in.
"""
