"""A signature that is not made, told as a problem: what stands against it, and what to do."""

from service import problems
from service.core.signing import rules
from service.core.signing.rules import Act, Rule, Situation
from service.problems import Type

_TYPES = {
    Rule.AUTHORITY: Type.NOT_AUTHORISED,
    Rule.AS_OF_THEN: Type.SIGNATURE_OUT_OF_ORDER,
    Rule.IN_ORDER: Type.SIGNATURE_OUT_OF_ORDER,
    Rule.SOME_WORK: Type.BEFORE_THE_WORK,
    Rule.NOT_BEFORE: Type.BEFORE_THE_WORK,
    Rule.NO_PERFORMER: Type.OWN_WORK,
    Rule.EXCEPTION_ALLOWED: Type.EXCEPTION_NOT_ALLOWED,
    Rule.EXCEPTION_NEEDED: Type.EXCEPTION_NOT_NEEDED,
    Rule.REWORK_FIRST: Type.INSPECTION_REFUSED,
}
_POINTERS = {
    Rule.AUTHORITY: "#/badge",
    Rule.NO_PERFORMER: "#/badge",
    Rule.EXCEPTION_ALLOWED: "#/exception_reason",
    Rule.EXCEPTION_NEEDED: "#/exception_reason",
    Rule.REWORK_FIRST: "#/meaning",
}
_WORDS = {
    Rule.AUTHORITY: "authority for this was taken back at this moment: let somebody else sign",
    Rule.AS_OF_THEN: "the signer's name or certificate was changed at this moment: sign again",
    Rule.IN_ORDER: "the last signature on this bears a later time than this one would: is the service's clock right?",
    Rule.SOME_WORK: "there is no work to sign: nothing that was done is recorded under this reference",
    Rule.NOT_BEFORE: "the last step is recorded as done later than now: is a clock wrong? A signature never comes before the work",
    Rule.NO_PERFORMER: (
        "whoever did a step of this work, or signed that it was done, does not inspect it: let somebody else inspect"
    ),
    Rule.EXCEPTION_ALLOWED: (
        "an inspection of one's own work is off here: let somebody else inspect. An administrator can switch it on, with a reason, "
        "at PUT /v1/signing-rules/same_person_inspection, where the rules that bind the shop allow it"
    ),
    Rule.EXCEPTION_NEEDED: (
        "this signer did none of the work, so the inspection is no exception: sign without `exception_reason`"
    ),
    Rule.REWORK_FIRST: (
        "the last inspection refused the work, and that stands: record the rework, then inspect anew; approval comes after that"
    ),
}


def refused(rule: Rule, act: Act, situation: Situation) -> problems.ProblemRaised:
    """Why a signature can't be made, as precisely as is known."""
    words = _unauthorised(act, situation) if rule is Rule.AUTHORITY else _WORDS[rule]
    if rule is Rule.NOT_BEFORE and situation.last_work is not None:
        words = f"{words} (last step: {situation.last_work:%Y-%m-%dT%H:%M:%SZ})"
    return _told(rule, words)


def overruled(rule: Rule) -> problems.ProblemRaised:
    """The same where only the database saw it."""
    return _told(rule, _WORDS[rule])


def _told(rule: Rule, words: str) -> problems.ProblemRaised:
    return problems.raised(_TYPES[rule], words, (_POINTERS.get(rule, "#"), words))


def _unauthorised(act: Act, situation: Situation) -> str:
    wanted, day = rules.wanted(act.meaning), act.at.date()
    mine = [each for each in situation.authorities if each.what is wanted]
    valid = [each for each in mine if each.holds(day)]
    if valid:
        scopes = ", ".join(sorted({each.scope for each in valid}))
        why = f"what holds ({scopes}) does not cover all of this work"
    elif mine:
        why = mine[-1].why_not(day)
    else:
        why = "none was ever given"
    return (
        f"{act.badge} has no authority of the kind {wanted.value!r} for this on {day}: {why}. Let somebody who has sign, or "
        f"have an administrator give it at PUT /v1/people/{act.badge}"
    )
