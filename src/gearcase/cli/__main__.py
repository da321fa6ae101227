"""``python -m gearcase.cli``."""

import sys

from gearcase.cli import main

sys.exit(main())
