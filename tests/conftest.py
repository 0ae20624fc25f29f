"""What every test is given: a bench with a name of its own, never the person's."""

from __future__ import annotations

import os

# Set before any test module is imported, and inherited by every child process: a test that closes a
# run must not ask for, or leave, the name that this computer has in real logbooks.
os.environ["OHMWARD_BENCH"] = "test-bench"
# Nor may it read, or leave, who tests among the settings of the person.
os.environ["OHMWARD_OPERATOR"] = "bench A"
