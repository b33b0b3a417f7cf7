"""Which connectors to renew in each asset's next visit, because they would not last until the one after."""

from typing import Annotated

from msgspec import Meta, Struct

from service.api import reading
from service.api.services import Services
from service.core.entries import Text
from service.core.markup import EMPTY, text
from service.pages import addresses, asking, files, forecast, layout
from service.pages.asking import Field
from service.pages.door import Asked, Visitor
from service.pages.layout import Sheet
from service.workflow import outlook

_RISKS = Field("risk", "Accepted risk", (("0.01", "1 %"), ("0.05", "5 %"), ("0.1", "10 %"), ("0.2", "20 %")))
_FIELDS = (_RISKS, Field("asset", "Asset"))


class Asking(Struct, frozen=True, forbid_unknown_fields=True):
    """What is wanted."""

    risk: Annotated[float, Meta(gt=0, lt=1)] = forecast.RISK
    asset: Text | None = None
    cursor: str | None = None
    limit: Annotated[int, Meta(ge=1, le=100)] = 20

    def address(self, **changes: addresses.Value) -> str:
        """The page with something else."""
        told: dict[str, addresses.Value] = {"risk": f"{self.risk:g}", "asset": self.asset}
        return addresses.page(addresses.VISITS, **(told | changes))


async def page(request: Asked, visitor: Visitor) -> Sheet:
    """Advice for the visits that come, the earliest first."""
    del visitor
    services: Services = request.app.state.services
    asked = asking.read(request, Asking)
    today = services.clock().date()
    async with services.pool.acquire() as connection:
        after = reading.cursor(asked.cursor, outlook.VisitCursor)
        filters = outlook.Filters(asset=asked.asset)
        report, following = await outlook.visits(connection, filters, asked.risk, today, after, asked.limit)
    cursor = reading.encode_cursor(following)
    risk = f"Running out before the visit after with more than {forecast.percent(asked.risk)}"
    content = (
        layout.heading("Visits", layout.note(text(risk))),
        forecast.rests_on(report.rests_on),
        asking.form(addresses.VISITS, _FIELDS, {"risk": f"{asked.risk:g}", "asset": asked.asset}),
        *(forecast.visit(each, today) for each in report.assets),
        EMPTY if report.assets else layout.nothing("No visit is planned that is known here."),
        asking.pager(asked.address() if asked.cursor else None, asked.address(cursor=cursor) if cursor else None),
        files.links("visits", asked.address()) if report.assets else EMPTY,
        forecast.assumptions(report.rests_on),
    )
    return Sheet(title="Visits", content=content, path=addresses.VISITS)
