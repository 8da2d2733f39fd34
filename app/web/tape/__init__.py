"""The tape picture of a score: `tape` for pages, `small_tape` for lists."""

from app.web.tape.marks import Band, KeyLine, Notch, Pin, SmallTape, TapeView
from app.web.tape.picture import small_tape, tape

__all__ = [
    "Band",
    "KeyLine",
    "Notch",
    "Pin",
    "SmallTape",
    "TapeView",
    "small_tape",
    "tape",
]
