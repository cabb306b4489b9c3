"""Readings of which no figure can be made."""


class NoFigure(ValueError):
    """The text is the sentence that stands in a figure's place."""
