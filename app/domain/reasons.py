"""Why something is held, where it is held for more than one reason."""


def joined(known: str, more: str) -> str:
    """A reason beside those that are known, so that whoever releases it reads all; each once.

    >>> joined("", "It is warm."), joined("It is warm.", "It leaks")
    ('It is warm.', 'It is warm; It leaks')
    >>> joined("It leaks", "It leaks.")
    'It leaks'

    A longer reason is no shorter one said again:

    >>> joined("It leaks at the bung", "It leaks")
    'It leaks at the bung; It leaks'
    """
    if not known:
        return more
    if f"; {more.rstrip('.')};" in f"; {known.rstrip('.')};":
        return known
    return f"{known.rstrip('.')}; {more}"
