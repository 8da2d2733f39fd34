"""`python -m tests.engines [FOLDER]`: the journeys; pictures are put into FOLDER."""

import os
import subprocess
import sys
import tempfile
from pathlib import Path

from tests.engines.wire import ASKED

folder = Path(sys.argv[1] if sys.argv[1:] else tempfile.mkdtemp(prefix="engines-"))
folder.mkdir(parents=True, exist_ok=True)
command = [sys.executable, "-m", "pytest", str(Path(__file__).parent), "-rs"]
asked = {**os.environ, ASKED: str(folder.resolve())}
code = subprocess.run([*command, *sys.argv[2:]], env=asked).returncode
print(f"pictures: {folder}")
sys.exit(code)
