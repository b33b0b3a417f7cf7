"""Scripts without what only their readers need: the comments, and the white space that no rule of the language asks for.

No name, number or text is changed, and no token: a parser says where they begin and end, templates within templates included.
"""

from collections.abc import Iterator

import tree_sitter_javascript
from tree_sitter import Language, Node, Parser

_WHOLE = frozenset({"string", "regex"})
_WORD = b"0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ_abcdefghijklmnopqrstuvwxyz$#" + bytes(range(0x80, 0x100))
_TOUCHY = (b"++", b"--")
"""With nothing between them, two signs would be one."""
_OPENS, _GOES_ON = b";{,([", b"})].?:,"
"""After the first and before the second, a line's end can't be the end of a statement that has no semicolon."""


def script(source: bytes) -> bytes:
    """The same script, token for token (ECMA-262, 12). One that the parser does not understand stays as it is."""
    tree = Parser(Language(tree_sitter_javascript.language())).parse(source)
    if tree.root_node.has_error:
        return source
    made, end = bytearray(), 0
    for start, stop in tokens(tree.root_node):
        made += _between(bytes(made[-1:]), source[end:start], source[start : start + 1])
        made += source[start:stop]
        end = stop
    return bytes(made)


def tokens(node: Node) -> Iterator[tuple[int, int]]:
    """Where each token begins and ends. The text of a template is one, from what is put in to what is put in."""
    if node.type == "comment":
        return
    if node.type in _WHOLE or not node.children:
        yield from _span(node.start_byte, node.end_byte)
        return
    template = node.type == "template_string"
    at = node.start_byte
    for each in node.children:
        if not template:
            yield from tokens(each)
        elif each.type == "template_substitution":
            yield from _span(at, each.start_byte)
            yield from tokens(each)
            at = each.end_byte
    if template:
        yield from _span(at, node.end_byte)


def _span(start: int, stop: int) -> Iterator[tuple[int, int]]:
    # The parser has tokens of no length, where the language puts a semicolon of its own.
    if start < stop:
        yield start, stop


def _between(before: bytes, gap: bytes, after: bytes) -> bytes:
    """What must stay between two tokens, the first ending and the second beginning so."""
    if not before or not gap:
        return b""
    if b"\n" in gap and before not in _OPENS and after not in _GOES_ON:
        return b"\n"
    parted = (before in _WORD and after in _WORD) or before + after in _TOUCHY or b"/" in (before, after)
    return b" " if parted else b""
