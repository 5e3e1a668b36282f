"""`python -m roadtest`."""

import sys

from roadtest.cli import main

sys.exit(main())
