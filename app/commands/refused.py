"""The one way a command says no."""


class Refused(Exception):
    """Input that cannot be used; the message is printed on one line, exit code 2."""
