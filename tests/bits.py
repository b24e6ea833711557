"""Comparing to the last bit where NaN stands for what is unknown: NaN is not equal to itself, its text is."""


def bits(value: object) -> str:
    """A text that is the same only for the same bits: the shortest decimals of a float give it back exactly."""
    return repr(value)
