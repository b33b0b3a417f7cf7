"""Run the tests against the installed wheel, from anywhere."""

import os
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
os.chdir(ROOT)
# The project's folders must not hide the installed wheel, and the tests themselves are not in it.
sys.path[:] = [each for each in sys.path if Path(each or ".").resolve() not in (ROOT, ROOT / "deploy")]
sys.path.append(str(ROOT))
# All of them wait a good deal, for browsers and databases: two processes at a time, each with its own, take little more than half
# the time. Whoever asks for some has them in one.
asked = sys.argv[1:] or ["--numprocesses", "2", "--dist", "loadfile"]
status = pytest.main(["--import-mode=append", *asked])
sys.stdout.flush()
sys.stderr.flush()
# The tests have spoken. What extension modules do while the interpreter is taken down must not overrule them: a run of all
# the tests once passed whole and still ended with a failure.
os._exit(int(status))
