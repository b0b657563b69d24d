"""`python -m uvdose` is the same as `uvdose`."""

from __future__ import annotations

import sys

from uvdose.cli import main

sys.exit(main())
