"""A text as a QR picture (ISO/IEC 18004), by segno."""

from __future__ import annotations

import segno


def rows(text: str) -> tuple[str, ...]:
    """The picture's rows of "1" (dark) and "0", the quiet zone of four modules round it."""
    made = segno.make(text, error="m", micro=False)
    return tuple("".join("1" if one else "0" for one in row) for row in made.matrix_iter(border=4))


def lines(text: str) -> tuple[str, ...]:
    """The same for a terminal: two rows of the picture a line, dark on light."""
    picture = [*rows(text)]
    picture += ["0" * len(picture[0])] * (len(picture) % 2)
    half = {("0", "0"): "█", ("0", "1"): "▀", ("1", "0"): "▄", ("1", "1"): " "}  # the terminal's ink is light
    return tuple(
        "".join(half[a, b] for a, b in zip(top, low, strict=True))
        for top, low in zip(picture[::2], picture[1::2], strict=True)
    )
