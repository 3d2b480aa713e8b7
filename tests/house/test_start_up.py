"""``standfall --help`` is quick because it loads no heavy library."""

import subprocess
import sys

HEAVY = (
    "numpy",
    "numba",
    "scipy",
    "shapely",
    "PIL",
    "pyarrow",
    "typst",
    "rich",
    "resvg_py",
    "sqlite3",
    "tomllib",
    "ezdxf",
    "yaml",
)


def test_help_loads_no_heavy_library():
    code = (
        "import sys\n"
        "from standfall.cli import main\n"
        "try:\n"
        "    main(['--help'])\n"
        "except SystemExit as leave:\n"
        "    assert leave.code == 0, leave.code\n"
        f"heavy = [name for name in {HEAVY!r} if name in sys.modules]\n"
        "print('HEAVY', heavy)\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.endswith("HEAVY []\n")
    assert "Commands:" in done.stdout


def test_public_names_are_all_there():
    import standfall

    for name in standfall.__all__:
        assert getattr(standfall, name) is not None
