"""One showing of a simulated trial, made from its case and a seed."""

from app.practice.case import Case, Timeline


def make(case: Case, trial: int, seed: int) -> Timeline:
    """The timeline of that trial: the same seed gives the same one everywhere."""
    raise NotImplementedError
