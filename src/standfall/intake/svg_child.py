"""Draws one SVG and ends: run as a program of its own by `svg.py`, never imported by it.

The drawing library is compiled code that gives up in ways Python cannot catch: deep nesting overruns the
stack and a large pattern ends the whole process for want of memory. In a process of its own, with limits,
such a file costs only this process. It imports nothing of the package, so it starts quickly.

Call: `python -P svg_child.py SIDE PIXELS FONTS MEMORY_BYTES`, the SVG as UTF-8 on standard input, the PNG on
standard output. SIDE is `width` or `height`; FONTS is 1 to load the fonts of this machine, else 0.
"""

from __future__ import annotations

import sys
import threading

ENDED_DRAWN = 0
ENDED_REFUSED = 3
ENDED_GAVE_UP = 4

STACK_BYTES = 256 * 1024 * 1024
"""Room for the nesting that `svg.py` lets through; the usual 8 MiB hold some 200 groups (measured)."""


def main(arguments: list[str]) -> int:
    """Draw standard input to standard output and return the exit status."""
    side, pixels, fonts, memory_bytes = arguments
    _limit_memory(int(memory_bytes))
    svg = sys.stdin.buffer.read().decode("utf-8")
    outcome: list[tuple[int, bytes]] = []
    threading.stack_size(STACK_BYTES)
    worker = threading.Thread(target=lambda: outcome.append(_draw(svg, side, int(pixels), fonts == "1")))
    worker.start()
    worker.join()
    status, payload = outcome[0]
    stream = sys.stdout if status == ENDED_DRAWN else sys.stderr
    stream.buffer.write(payload)
    return status


def _draw(svg: str, side: str, pixels: int, fonts: bool) -> tuple[int, bytes]:
    import resvg_py

    try:
        # dpi must be said: left out, resvg_py counts with none and refuses any size in mm or inches (0.5.0).
        png = resvg_py.svg_to_bytes(
            svg_string=svg,
            width=pixels if side == "width" else None,
            height=pixels if side == "height" else None,
            skip_system_fonts=not fonts,
            dpi=96.0,
        )
    except (ValueError, MemoryError) as error:
        return ENDED_REFUSED, str(error).encode()
    except BaseException as error:  # noqa: BLE001, the library's own panic derives from BaseException only
        return ENDED_GAVE_UP, f"{type(error).__name__}: {error}".encode()
    return ENDED_DRAWN, bytes(png)


def _limit_memory(memory_bytes: int) -> None:
    """Bound the address space of this process where the system can (POSIX), and write no core file."""
    try:
        import resource

        hard = resource.getrlimit(resource.RLIMIT_AS)[1]
        most = memory_bytes if hard == resource.RLIM_INFINITY else min(memory_bytes, hard)
        resource.setrlimit(resource.RLIMIT_AS, (most, hard))
        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    except (ImportError, ValueError, OSError):
        return  # Windows has no such limits and macOS may refuse them; the time limit stands


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
