"""Part numbers of the tools that insert and remove contacts: AS81969, and the MS24256 family of MIL-DTL-26500."""

from service.core.part_numbers import codes, grammar
from service.core.part_numbers.grammar import Field, Form
from service.core.part_numbers.values import Part, Tool

_SHEETS = (
    *codes.table(
        "second-hand",
        "makers' catalogues in a public dataset",
        {
            "8": "metal tools: odd dash numbers insert, even ones remove",
            "14": "plastic tools that insert with one end and remove with the other",
            "33": "insertion tools (33-01: MIL-DTL-28840, size 20)",
            "34": "removal tools (34-01: MIL-DTL-28840, size 20)",
        },
    ),
    *codes.table(
        "memory",
        "from memory",
        {
            "1": "small metal tools that insert and remove",
            "16": "tools for power and coaxial contacts, sizes 12 to 8",
            "17": "insertion tools for front release",
            "19": "removal tools for front release",
        },
    ),
)

FORMS = (
    Form(
        family="AS81969",
        specification="AS81969",
        status="second-hand",
        source="makers' catalogues in a public dataset",
        fields=(
            grammar.punctuation("M81969/", "AS81969/"),
            Field("sheet", digits=(1, 2), known=_SHEETS),
            grammar.punctuation("-"),
            Field("dash", digits=(2, 2)),
        ),
    ),
    Form(
        family="MS24256",
        specification="MIL-DTL-26500",
        status="memory",
        source="the whole form is from memory",
        fields=(
            grammar.punctuation("MS24256"),
            Field("half", codes.table("memory", "from memory", {"A": "inserts", "R": "removes"})),
            Field(
                "size",
                codes.table("memory", "from memory", {size: f"contact size {size}" for size in ("20", "16", "12")}),
            ),
        ),
    ),
)


def decoded(form: Form, text: str, parts: tuple[Part, ...]) -> Tool:
    """What the number of a tool states, from its fields as they were read."""
    return Tool(
        text=text,
        family=form.family,
        specification=form.specification,
        status=form.status,
        source=form.source,
        parts=tuple(_in_words(each) for each in grammar.explained(form, parts)),
        codes=grammar.codes(form, parts),
    )


def _in_words(part: Part) -> Part:
    if part.name != "dash":
        return part
    return Part(
        part.name,
        part.code,
        part.at,
        f"tool {part.code} of its sheet",
        "second-hand",
        "makers' catalogues in a public dataset",
    )
