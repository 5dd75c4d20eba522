"""People of the site: accounts, sessions, tokens, and the guard against guessing."""
