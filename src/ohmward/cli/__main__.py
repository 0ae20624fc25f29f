"""`python -m ohmward.cli`."""

import sys

from ohmward.cli import main

sys.exit(main())
