"""The files of the page as they are made to be given: bare, short, and of one version."""

from importlib import resources
from pathlib import Path

import brotli
import pytest
import tree_sitter_javascript
from tree_sitter import Language, Parser

from scanner_client import bare, page_files

PAGE = resources.files("scanner_client") / "page"
FILES = page_files.shipped()


def test_the_short_forms_have_etags_of_their_own() -> None:
    """No two forms of any file share one, and the shortest is offered first."""
    for path, file in FILES.items():
        forms = [*file.short.values(), file.plain]
        assert len({each.etag for each in forms}) == len(forms), path
        assert list(file.short) in ([], ["br", "gzip"], ["br"]), path
        assert [len(each.body) for each in forms] == sorted(len(each.body) for each in forms), path


def test_our_scripts_go_out_bare() -> None:
    """Comments stay at home; what is of others goes out as it was pinned, byte for byte."""
    for path in ("core/talk.js", "view/work.js", "service_worker.js"):
        given = FILES[f"/{path}"].plain.body.decode()
        assert "/*" in (PAGE / path).read_text(encoding="utf-8")
        assert "/*" not in given.replace("/*.", "")
        assert len(given) < 0.9 * len((PAGE / path).read_text(encoding="utf-8"))
    for path in ("vendor/preact_htm.js", "vendor/zxing_reader.js", "vendor/zxing_reader.wasm"):
        assert FILES[f"/{path}"].plain.body == (PAGE / path).read_bytes()


def tokens(script: bytes) -> list[tuple[str, bytes]]:
    """The tokens of a script in their order, comments left out, each with its kind and its very bytes."""
    found: list[tuple[str, bytes]] = []
    left = [Parser(Language(tree_sitter_javascript.language())).parse(script).root_node]
    while left:
        node = left.pop()
        assert node.type != "ERROR"
        if node.type in ("template_string", "string", "regex") or not node.children:
            found += [] if node.type == "comment" else [(node.type, script[node.start_byte : node.end_byte])]
        # What is put into a template is looked at as well: its text as a whole may hold comments that are cut.
        left += reversed(node.children)
    return [(kind, data) for kind, data in found if kind != "template_string" or b"${" not in data]


OURS = sorted(path for path in FILES if path.endswith(".js") and not path.startswith("/vendor/"))


@pytest.mark.parametrize("path", [each for each in OURS if each != page_files.WORKER])
def test_scripts_go_out_token_for_token(path: str) -> None:
    """Nothing that the language sees is changed: each token is there with its very bytes, the texts of templates among them."""
    written = (PAGE / path.removeprefix("/")).read_bytes()
    given = FILES[path].plain.body
    assert tokens(given) == tokens(written)
    assert b"// @ts-check" not in given


@pytest.mark.parametrize(
    ("written", "given"),
    [
        ("// why\nlet a = 1; // x\nlet b;", "let a=1;let b;"),
        ("a = b\n(c)\n++d\ne", "a=b\n(c)\n++d\ne"),
        ("return\n  a", "return\na"),
        ("a + +b - -c; a++ + b;", "a+ +b- -c;a++ +b;"),
        ("x = a / /b  \\/*/ .c / d", "x=a / /b  \\/*/ .c / d"),
        ("`a  ${ b ? html`<p  c=${ d }> /* e */ ${f} ${g}\n </p>` : `h  ` }  // i`", None),
        ("if (typeof a in b) return 'c  // d';", "if(typeof a in b)return'c  // d';"),
        ("a = {\n  b,\n}\nc = [1]", "a={b,}\nc=[1]"),
        ("class A { static #b = 1; get c() { return this.#b; } }", "class A{static #b=1;get c(){return this.#b;}}"),
        ("if (", "if ("),
    ],
)
def test_only_needless_space_and_comments_go(written: str, given: str | None) -> None:
    """White space stays where the language or a text needs it (ECMA-262, 12.2, 12.10)."""
    wanted = given or "`a  ${b?html`<p  c=${d}> /* e */ ${f} ${g}\n </p>`:`h  `}  // i`"
    assert bare.script(written.encode()).decode() == wanted


def test_a_ready_form_of_another_file_is_refused(tmp_path: Path) -> None:
    """A file that was changed without the form that was made of it beforehand does not go out."""
    (tmp_path / "service_worker.js").write_bytes(page_files.UNVERSIONED)
    (tmp_path / "a.wasm").write_bytes(b"new")
    (tmp_path / "a.wasm.br").write_bytes(brotli.compress(b"old"))
    with pytest.raises(ValueError, match=r"/a\.wasm\.br"):
        page_files.made(tmp_path)


def test_any_change_makes_another_version(tmp_path: Path) -> None:
    """One word more in any file, the service worker's own included, and the page is another one; a comment more is nothing."""
    for name in ("index.html", "service_worker.js", "a/b.js"):
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_bytes(page_files.UNVERSIONED if f"/{name}" == page_files.WORKER else b"x")
    (tmp_path / "notes.md").write_text("not of the page")
    seen = {page_files.made(tmp_path)[page_files.LISTING].plain.body}
    assert set(page_files.made(tmp_path)) == {"/", "/a/b.js", page_files.WORKER, page_files.LISTING}
    for name in ("index.html", "service_worker.js", "a/b.js"):
        with (tmp_path / name).open("ab") as file:
            file.write(b"\ny();")
        seen.add(page_files.made(tmp_path)[page_files.LISTING].plain.body)
    assert len(seen) == 4
    (tmp_path / "a" / "b.js").write_bytes(b"// why\nx\ny();")
    assert page_files.made(tmp_path)[page_files.LISTING].plain.body in seen
