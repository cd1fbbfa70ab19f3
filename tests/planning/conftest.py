"""The frames of the tests of matching serve here as well."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "matching"))
