"""What the tests of transfers share."""

import pytest

from tests.transfers import shops
from tests.transfers.shops import Opened


@pytest.fixture
def opened(maintenance: str, template: str) -> Opened:
    """A test enters what this gives with names, and has so many shops."""

    def make(*names: str):  # type: ignore[no-untyped-def]  # noqa: ANN202 - as `Opened` says
        return shops.opened(maintenance, template, *names)

    return make
