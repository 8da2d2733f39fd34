"""The tape picture of a score: `tape` for pages, `small_tape` for lists.

`over_time` draws the scores of an episode by their days.
"""

from app.web.tape.marks import Band, KeyLine, Notch, Pin, SmallTape, TapeView
from app.web.tape.over_time import Dot, Line, TimeView, over_time
from app.web.tape.picture import small_tape, tape

__all__ = [
    "Band",
    "Dot",
    "KeyLine",
    "Line",
    "Notch",
    "Pin",
    "SmallTape",
    "TapeView",
    "TimeView",
    "over_time",
    "small_tape",
    "tape",
]
