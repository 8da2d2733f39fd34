"""What holds for every activity at the bedside. Wording: common practice.

A prompt beside local policy and the person's own orders, which come first.
"""

from typing import Final

#: Read before the first set of a day. Nothing of it is recorded as checked.
BEFORE: Final = (
    "The right person, by two identifiers at the bedside. They agree today. Orders and "
    "precautions are still right.",
    "Pain, dizziness, last fall, anything new from nursing.",
    "Vital signs, if the chart, an order or the last visit asks for them.",
    "Shoes or grip socks, glasses, hearing aid, brace on. Lines traced. Brakes on. "
    "Path 6 ft clear and dry.",
    "Chair braced against a wall. Gait belt on for anything in standing, and for "
    "sitting that is less than steady. Bed at knee height for edge work.",
    "Enough people for the help they need. If in doubt, one more.",
    "The phone in a pocket, on a stand or with a helper.",
)
PHONE: Final = "Never hold the phone in the guarding hand."
STOP_SIGNS: Final = (
    "chest pain or pressure",
    "new or worse breathlessness",
    "near-faint, grey or sweating",
    "dizziness that does not settle in 60 seconds",
    "new weakness, drooping face or change of speech",
    "new confusion",
    "pain that jumps by 3 or more of 10, or sharp joint pain",
    "a knee that gives way twice",
    "a fall or a caught fall",
    "bleeding, or a change at a wound or line",
    "the person says stop",
)
THEN: Final = (
    "Sit or lie down, take vital signs, call nursing or the emergency number, and "
    "record what was not done and why."
)
#: After a set with a symptom that was not stopped for. Common practice.
FELT: Final = (
    "Sit them down and take vital signs. Another set only once it has settled; orders "
    "and local policy come first."
)
#: The help a person needs in that position, and the people for it.
STAFF: Final = (
    ("supervision, stand-by or contact guard", "one"),
    (
        "minimal (patient does 75 % or more)",
        "one, belt on; two for stepping, turning or eyes closed",
    ),
    (
        "moderate (patient does 50 to 74 %)",
        "two for standing work; one skilled for seated work",
    ),
    (
        "maximal or total (less than 50 %)",
        "two and a lift device; nothing here in standing",
    ),
)
