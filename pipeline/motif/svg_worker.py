"""Draws one SVG in a process of its own: SVG on standard input, PNG on standard output.

Run by path with the pixels of the longer side as argument; imports nothing of the project. Before
drawing it gives up the rights that drawing does not need: more memory than a gigabyte, more than a
few seconds of processor time, and (where the system knows such limits) opening any file.
"""

from __future__ import annotations

import sys

MEMORY_BYTES = 1 << 30
SECONDS = 8


def main() -> None:
    """Read, confine, draw, write."""
    side = int(sys.argv[1])
    drawing = sys.stdin.buffer.read().decode("utf-8")
    from resvg_py import svg_to_bytes

    try:
        import resource
    except ImportError:  # not on Windows; there the guard before and the timeout around remain
        pass
    else:
        for limit, most in (
            (resource.RLIMIT_AS, MEMORY_BYTES),
            (resource.RLIMIT_CPU, SECONDS),
            (resource.RLIMIT_CORE, 0),
            (resource.RLIMIT_FSIZE, 0),
            (resource.RLIMIT_NOFILE, 0),
        ):
            resource.setrlimit(limit, (most, most))
    # Fonts of the machine are left out, so that a drawing looks the same everywhere.
    # Lengths in millimetres and the like are at 96 pixels an inch, as CSS has them.
    png = svg_to_bytes(svg_string=drawing, width=side, height=side, dpi=96, skip_system_fonts=True)
    sys.stdout.buffer.write(bytes(png))


if __name__ == "__main__":
    main()
