"""`python -m ohmward` is the command `ohmward`."""

from __future__ import annotations

import sys

from ohmward.cli import main

sys.exit(main())
