"""Plots in a page: drawn beside the loop, since that takes as long as many requests, and put into the page as images."""

import asyncio
import base64
from collections.abc import Callable

from service.core.markup import Markup, element, text
from service.plots.plot import Plot


async def figure(make: Callable[[], Plot], caption: str) -> Markup:
    """A plot with its caption; in words for whoever does not see it. An image can't be reached by the page's style, nor run."""
    plot = await asyncio.to_thread(make)
    source = f"data:image/svg+xml;base64,{base64.b64encode(plot.svg).decode()}"
    image = element("img", src=source, alt=plot.told, width=plot.width, height=plot.height)
    return element("figure", image, element("figcaption", text(caption)), class_="plotted")
