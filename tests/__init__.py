"""A package of its own name: an installed one that is called `tests` must not win."""
