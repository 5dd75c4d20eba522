"""A count with its noun: one stays one."""


def counted(count: float, one: str, many: str = "", decimals: int = 0) -> str:
    """A count in figures with its noun, singular where the figure that is shown is 1.

    `many` is the plural; left out, it is `one` with an s.

    >>> counted(1, "wash", "washes"), counted(1200, "wash", "washes")
    ('1 wash', '1,200 washes')
    >>> counted(1.4, "day"), counted(1.4, "day", decimals=1), counted(0, "day")
    ('1 day', '1.4 days', '0 days')
    """
    shown = f"{count:,.{decimals}f}"
    return f"{shown} {one if shown == '1' else many or f'{one}s'}"
