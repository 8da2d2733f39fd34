"""Two made-up measures for the browser: repetitions in a window, and a held stance.

No shipped test uses either yet; what the phone does with them is tried on these.
"""

import shutil
from pathlib import Path

from app.catalogue.load import FOLDER, Catalogue, load

CARD = """
id = "{id}"
name = "{name}"
short = "{name}"
purpose = "Made up, to try the phone."
domain = "transfers"
kind = "{kind}"
units = ["{unit}"]
better = "higher"
lowest = {lowest}
highest = {highest}
tape = {{ {unit} = [1, 30] }}
posture = "standing"
minutes = 2
needs = "stands"
kit_items = ["stopwatch"]
retest_days = 14
{ending}

[guide]
kit = ["A braced chair"]
space = "Room for one."
setup = ["Chair braced against the wall."]
guard = ["Belt on, one hand ready."]
stop = ["Pain, dizziness, or they ask."]
say = ["Begin on go."]
show = ["One, slowly."]
start_cue = "on the word go"
stop_cue = "when a foot moves"
void_when = ["Someone interrupted."]

[[variant]]
id = "single"
label = "One trial"
take = "best"
of = 1
last = 1
"""


def with_timed(folder: Path, *, window: int = 3, ceiling: int = 2) -> Catalogue:
    """The shipped catalogue and both, made in `folder`."""
    shutil.copytree(FOLDER / "measures", folder / "measures")
    shutil.copy(FOLDER / "facts.toml", folder)
    counted = CARD.format(
        id="rises", name="Made-up rises", kind="count", unit="count", lowest=1,
        highest=200,
        ending=f'window_seconds = {window}\ncounted = ["rise", "rises"]\n'
        'last_one = "More than halfway counts."',
    )  # fmt: skip
    held = CARD.format(
        id="stance", name="Made-up stance", kind="time", unit="s", lowest="0.1",
        highest=60, ending=f"ceiling_seconds = {ceiling}",
    )  # fmt: skip
    (folder / "measures/rises.toml").write_text(counted)
    (folder / "measures/stance.toml").write_text(held)
    return load(folder)
