"""Times, places and ratings as every page says them."""

from datetime import UTC, datetime

from service import messages
from service.core.markup import EMPTY, Markup, element, joined, text
from service.pages import addresses
from service.pages.layout import link


def moment(at: datetime) -> Markup:
    """A moment to the minute, in UTC."""
    utc = at.astimezone(UTC)
    return element("time", text(f"{utc:%Y-%m-%d %H:%M}"), datetime=f"{utc:%Y-%m-%dT%H:%M:%SZ}")


def days(count: float) -> str:
    """A stretch of time in words."""
    if count < 1:
        return "less than a day"
    whole = int(count)
    if whole < 60:  # noqa: PLR2004 - two months are still easily thought of in days
        return counted(whole, "day")
    months = round(count / 30.44)
    return counted(months, "month") if months < 24 else counted(round(count / 365.25), "year")  # noqa: PLR2004 - two years


def sentence(words: str) -> str:
    """Words that came without a capital or a full stop, as a sentence."""
    return words[:1].upper() + words[1:] + ("" if words.endswith((".", "?", "!")) else ".")


def counted(count: int, word: str, plural: str | None = None) -> str:
    """A number with its word."""
    return f"{count:,} {word if count == 1 else plural or word + 's'}"


def place(where: messages.PlaceView) -> Markup:
    """Where a connector is; the asset leads to its page."""
    if where.asset is None:
        return text(where.position or where.zone or "place not known")
    rest = " ".join(each for each in (where.zone, where.position) if each)
    return joined(link(where.asset, addresses.asset(where.asset)), text(f" {rest}" if rest else ""))


def of_rating(cycles: int, rating: int | None, *, verified: bool) -> Markup:
    """Cycles begun against the rating. An unverified one is marked as such, wherever it stands."""
    if rating is None:
        return joined(text(f"{cycles} "), element("span", text("no rating"), class_="unverified"))
    doubt = EMPTY if verified else joined(text(" "), unverified())
    return joined(text(f"{cycles} of {rating}"), doubt)


def unverified() -> Markup:
    """The mark of a rating that nobody has verified."""
    return element("span", text("not verified"), class_="unverified")


def left(count: int | None) -> Markup:
    """Insertions still allowed."""
    return text("not known" if count is None else count)


def provenance(rating: messages.RatingView | None) -> Markup:
    """A rating with where it comes from and who has verified it."""
    if rating is None:
        return element("p", text("No rating is stated: no answer here is ever a plain go."))
    paper = ", ".join(
        f"{name}{value}"
        for name, value in (("", rating.document), ("rev. ", rating.revision), ("para. ", rating.paragraph))
        if value
    )
    checked = (
        text(f"Verified by {rating.verified_by} on {rating.verified_on}.")
        if rating.verified
        else joined(unverified(), text(": nobody has put a name, a day and a document to this figure."))
    )
    first = "" if rating.first_insertion_counts else " The first assembly insertion does not count."
    return joined(
        element(
            "p", element("b", text(f"{rating.value} cycles")), text(f", {rating.basis}. {paper or 'No document'}.")
        ),
        element("p", checked),
        element("p", text(f"Nearing from cycle {rating.nearing_from}.{first}"), class_="note"),
    )


def rating(value: int | None, *, verified: bool) -> Markup:
    """A rating alone, marked where nobody has verified it."""
    if value is None:
        return element("span", text("no rating"), class_="unverified")
    return text(value) if verified else joined(text(f"{value} "), unverified())
