"""The demo's labels: each can be read, and each finds the connector that it is for."""

from pathlib import Path

import msgspec
import pytest
from PIL import Image

from service.core import marks
from service.demo import labels, photograph
from tests.demo import fleets


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, tuple[labels.Label, ...]]:
    """The labels of the whole fleet, and where they are."""
    directory = tmp_path_factory.mktemp("labels")
    return directory, labels.write(fleets.made(), fleets.BOOK, fleets.HOUSE, directory)


def _text(label: labels.Label) -> str:
    return label.text.encode().decode("unicode_escape")


def test_the_set_shows_every_wear_and_every_symbol(made: tuple[Path, tuple[labels.Label, ...]]) -> None:
    """24 labels: fine, nearing, at the limit, over it and unknown; three symbologies; every kind of content."""
    _, found = made
    assert len(found) == 24
    assert {each.wear for each in found} == {"within", "nearing", "spent", "over", "unknown"}
    assert {each.symbology for each in found} == {labels.DATA_MATRIX, labels.QR, labels.CODE_128}
    assert {each.content for each in found} == {style.content for _, styles in labels.WANTED for style in styles}
    assert len({each.connector for each in found}) == len(found)


def test_each_reads_back(made: tuple[Path, tuple[labels.Label, ...]]) -> None:
    """From the file as it was written."""
    directory, found = made
    for each in found:
        assert labels.reads((directory / each.file).read_bytes(), _text(each)), each.file


def test_each_finds_its_connector(made: tuple[Path, tuple[labels.Label, ...]]) -> None:
    """What the mark means is a key of the registered connector, of no other, and contradicts nothing.

    ISO/IEC 15434 formats 06 and 12, MIL-STD-130N Table A-II constructs 1 and 2.
    """
    _, found = made
    registered = fleets.made().registrations
    for label in found:
        mark = marks.read(_text(label).encode())
        assert mark.faults == (), label.file
        keys = marks.look_up_keys(mark)
        matching = [
            each
            for each in registered
            if set(keys) & set(marks.keys(each.serial, each.cage, each.part_number, each.id))
        ]
        assert [str(each.id) for each in matching] == [label.connector], label.file
        (one,) = matching
        assert not marks.contradicts(mark, one.serial, one.cage, one.part_number)


def test_the_index_lists_what_was_written(made: tuple[Path, tuple[labels.Label, ...]]) -> None:
    """Every label with its file, text, serial and wear, as the fold has it."""
    directory, found = made
    listed = msgspec.json.decode((directory / labels.INDEX).read_bytes(), type=tuple[labels.Label, ...])
    assert listed == found
    assert {each.name for each in directory.iterdir()} == {labels.INDEX, *(each.file for each in found)}
    wear = {str(each.definition.connector): each.wear for each in fleets.folded()}
    assert all(wear[each.connector] == each.wear for each in found)


def test_the_same_fleet_gives_the_same_labels(tmp_path: Path) -> None:
    """To the byte, and a small fleet gives labels too."""
    small = fleets.made(5, fleets.SMALL)
    once = labels.write(small, fleets.BOOK, fleets.HOUSE, tmp_path / "once")
    again = labels.write(small, fleets.BOOK, fleets.HOUSE, tmp_path / "again")
    assert once == again
    assert len(once) >= 12
    for each in once:
        assert (tmp_path / "once" / each.file).read_bytes() == (tmp_path / "again" / each.file).read_bytes()


def test_an_unreadable_photo_is_noticed() -> None:
    """The check that guards the set says no to another text and to a picture without a symbol."""
    blank = photograph.photograph(Image.new("RGB", (400, 200), "white"), photograph.WHITE, (1, 1), 1.0)
    assert not labels.reads(blank, "LAS00001")
