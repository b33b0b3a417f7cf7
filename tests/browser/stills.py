"""The tuning pictures of `tests.corpus`, read by the page's ladder in Chromium."""

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from itertools import chain

from msgspec import Struct
from playwright.sync_api import Page

from tests.browser import stage
from tests.corpus import frames
from tests.corpus.frames import Frame, Kind, Split


class Outcome(Struct, frozen=True):
    """One picture: what the decoder alone read of all of it, and what the eye told when it was shown again and again."""

    kind: Kind
    damage: str
    data: bytes | None
    plain: frozenset[bytes]
    told: frozenset[bytes]
    frames: int
    plain_ms: float
    frame_ms: float

    @property
    def wrong(self) -> frozenset[bytes]:
        """What was told and is not in the picture."""
        return self.told - {self.data}


def tuning(sizes: Iterable[tuple[Kind, int]]) -> list[Frame]:
    """So many pictures of each damage of each kind, from the set that is for tuning."""
    return list(chain.from_iterable(frames.made(Split.TUNING, (kind,), each) for kind, each in sizes))


@contextmanager
def opened(pictures: list[Frame]) -> Iterator[Page]:
    """The stand-in page, with the modules of the ladder, and the pictures beside it."""
    held = {f"/stills/{place}.raw": each.grey.tobytes() for place, each in enumerate(pictures)}
    with stage.served(held) as port, stage.opened(port) as page:
        while not page.evaluate("Boolean(window.stage?.outcome)"):
            page.wait_for_timeout(20)
        yield page


def outcomes(page: Page, pictures: list[Frame], most_frames: int) -> Iterator[Outcome]:
    """Show every picture to the eye's ladder, up to so many times."""
    for place, each in enumerate(pictures):
        yield _outcome(page, f"/stills/{place}.raw", each, most_frames)


def _outcome(page: Page, path: str, frame: Frame, most_frames: int) -> Outcome:
    high, wide = frame.grey.shape
    seen = page.evaluate("asked => stage.outcome(...asked)", [path, wide, high, most_frames])
    plain, told = (frozenset(bytes.fromhex(each) for each in seen[name]) for name in ("plain", "told"))
    times = seen["frames"], seen["plain_ms"], seen["frame_ms"]
    return Outcome(frame.kind, frame.damage, frame.data, plain, told, *times)
