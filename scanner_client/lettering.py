"""Large letters and frames for the four words of an answer. Each frame has its own shape. Pure."""

from service.core.answers import Answer

WORDS: dict[Answer | None, str] = {Answer.GO: "GO", Answer.WARN: "WARN", Answer.NO_GO: "NO GO", None: "NO ANSWER"}

_LETTERS = {
    "G": (" ### ", "#    ", "# ## ", "#  # ", " ### "),
    "O": (" ##  ", "#  # ", "#  # ", "#  # ", " ##  "),
    "W": ("#   #", "#   #", "# # #", "## ##", "#   #"),
    "A": (" ##  ", "#  # ", "#### ", "#  # ", "#  # "),
    "R": ("###  ", "#  # ", "###  ", "# #  ", "#  # "),
    "N": ("#   #", "##  #", "# # #", "#  ##", "#   #"),
    "S": (" ### ", "#    ", " ##  ", "   # ", "###  "),
    "E": ("#### ", "#    ", "###  ", "#    ", "#### "),
    " ": ("   ", "   ", "   ", "   ", "   "),
}
_ROWS = 5
_HALF_BLOCKS = {(False, False): " ", (True, False): "▀", (False, True): "▄", (True, True): "█"}

# Frames: what runs along the top and the bottom, and what stands at either side.
_FRAMES: dict[Answer | None, tuple[str, str, str]] = {
    Answer.GO: ("─", "│", "│"),
    Answer.WARN: ("▲ ", "▲ ", " ▲"),
    Answer.NO_GO: ("█", "███", "███"),
    None: ("? ", "? ", " ?"),
}
_ASCII_FRAMES: dict[Answer | None, tuple[str, str, str]] = {
    Answer.GO: ("-", "|", "|"),
    Answer.WARN: ("/\\", "/\\", "/\\"),
    Answer.NO_GO: ("X", "XXX", "XXX"),
    None: ("? ", "? ", " ?"),
}
_SYMBOLS: dict[Answer | None, tuple[str, str]] = {
    Answer.GO: ("✔", "OK"),
    Answer.WARN: ("!", "!"),
    Answer.NO_GO: ("✖", "X"),
    None: ("?", "?"),
}


def framed(word: Answer | None, width: int, *, ascii_only: bool) -> list[str]:
    """The word of an answer in a frame of `width`: five lines, or seven in ASCII."""
    run, left, right = (_ASCII_FRAMES if ascii_only else _FRAMES)[word]
    symbol = _SYMBOLS[word][1 if ascii_only else 0]
    edge = (run * width)[:width]
    label = f" {WORDS[word]} "
    inner = width - len(left) - len(right)
    body = [left + row.ljust(inner) + right for row in _body(WORDS[word], symbol, inner, ascii_only=ascii_only)]
    return [edge[:3] + label + edge[3 + len(label) :], *body, edge]


def _body(word: str, symbol: str, inner: int, *, ascii_only: bool) -> list[str]:
    """The word with its symbol at either side; closer together, or in plain letters, where the screen is narrow."""
    rows = large(word, ascii_only=ascii_only)
    blank = " " * len(symbol)
    full = [
        f"  {symbol if place == 1 else blank}   {row}   {symbol if place == 1 else blank}"
        for place, row in enumerate(rows)
    ]
    close = [f" {row}" for row in large(word, ascii_only=ascii_only, apart=" ")]
    plain = [f"  {symbol}  {word}  {symbol}" if place == 1 else "" for place in range(len(rows))]
    return next((each for each in (full, close) if max(map(len, each)) <= inner), plain)


def large(word: str, *, ascii_only: bool, apart: str = "  ") -> list[str]:
    """A word in letters five dots high: three lines of half blocks, or five lines of ASCII."""
    dots = [apart.join(_LETTERS[letter][row] for letter in word) for row in range(_ROWS)]
    if ascii_only:
        return dots
    dots.append(" " * len(dots[0]))
    return [
        "".join(_HALF_BLOCKS[upper == "#", lower == "#"] for upper, lower in zip(dots[row], dots[row + 1], strict=True))
        for row in range(0, _ROWS, 2)
    ]
