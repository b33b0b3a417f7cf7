"""The settings of a bench: read once, from the environment, nothing ignored."""

from pathlib import Path

import pytest

from scanner_client import settings
from scanner_client.settings import SettingError


def test_defaults(tmp_path: Path) -> None:
    """Without any setting the bench speaks to this machine and keeps its outbox in the user's state directory."""
    told = settings.read({"XDG_STATE_HOME": str(tmp_path)})
    assert told.url == "http://127.0.0.1:8600"
    assert told.outbox == tmp_path / "tinebook" / "bench.db"
    assert (told.token, told.name, told.ascii, told.idle_min) == (None, None, False, 15)
    assert (told.certificate, told.key, told.authority) == (None, None, None)


def test_everything_can_be_set(tmp_path: Path) -> None:
    """Each setting by its name; the token from a file, without its line end."""
    (tmp_path / "token").write_text("secret\n")
    told = settings.read(
        {
            "TINEBOOK_BENCH_URL": "https://tinebook.example/",
            "TINEBOOK_BENCH_TOKEN_FILE": str(tmp_path / "token"),
            "TINEBOOK_BENCH_OUTBOX": "/data/bench.db",
            "TINEBOOK_BENCH_NAME": "Bench A",
            "TINEBOOK_BENCH_CAMERA": "/dev/video2",
            "TINEBOOK_BENCH_SERIAL": "/dev/ttyACM0",
            "TINEBOOK_BENCH_BAUD": "115200",
            "TINEBOOK_BENCH_ANSWER_S": "4.5",
            "TINEBOOK_BENCH_ASCII": "1",
            "TINEBOOK_BENCH_IDLE_MIN": "5",
            "TINEBOOK_BENCH_CERTIFICATE": "/etc/bench/bench.pem",
            "TINEBOOK_BENCH_KEY": "/etc/bench/bench.key",
            "TINEBOOK_BENCH_AUTHORITY": "/etc/bench/authority.pem",
        }
    )
    assert told == settings.Settings(
        url="https://tinebook.example",
        token="secret",  # noqa: S106 - of a test
        outbox=Path("/data/bench.db"),
        name="Bench A",
        camera="/dev/video2",
        serial="/dev/ttyACM0",
        baud=115_200,
        answer_s=4.5,
        ascii=True,
        idle_min=5,
        certificate=Path("/etc/bench/bench.pem"),
        key=Path("/etc/bench/bench.key"),
        authority=Path("/etc/bench/authority.pem"),
    )


WRONG = [
    ({"TINEBOOK_BENCH_TOKN": "x"}, "TINEBOOK_BENCH_TOKN"),
    ({"TINEBOOK_BENCH_URL": "tinebook.example"}, "http"),
    ({"TINEBOOK_BENCH_BAUD": "fast"}, "number"),
    ({"TINEBOOK_BENCH_ANSWER_S": "0"}, "above 0"),
    ({"TINEBOOK_BENCH_IDLE_MIN": "0"}, "1 to 720"),
    ({"TINEBOOK_BENCH_IDLE_MIN": "2.5"}, "1 to 720"),
    ({"TINEBOOK_BENCH_TOKEN": "two words"}, "token"),
    ({"TINEBOOK_BENCH_TOKEN": "a", "TINEBOOK_BENCH_TOKEN_FILE": "b"}, "not both"),
    ({"TINEBOOK_BENCH_TOKEN_FILE": "/nowhere/token"}, "can't be read"),
]


@pytest.mark.parametrize(("given", "says"), WRONG, ids=[" ".join(each[0]) for each in WRONG])
def test_wrong_settings_are_named(given: dict[str, str], says: str) -> None:
    """A misspelt or impossible setting stops the bench with its name and what it should be."""
    with pytest.raises(SettingError, match=says):
        settings.read(given)
