"""Makes the modules beside the tests importable: ``write_tables.py`` runs them without pytest."""

import sys
from pathlib import Path

FOLDER = str(Path(__file__).parent)
if FOLDER not in sys.path:
    sys.path.insert(0, FOLDER)
