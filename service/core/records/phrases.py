"""The words of a record, as data: English always, another language beside it where it is asked for.

Which words German-speaking shops use for what is from memory.
"""

from service.core.entries import Kind
from service.core.records.orders import Act

LANGUAGES = ("en", "de")

_REMARKS = {
    "not_on_the_books": (
        "The order is not on the books: entries name it, but nobody stated what was to be done.",
        "Der Auftrag ist nicht erfasst: Einträge nennen ihn, aber niemand hat angegeben, was zu tun war.",
    ),
    "no_reference_data": (
        "No reference data is stated: the description alone says what was done.",
        "Keine Unterlagen angegeben: allein die Beschreibung sagt, was getan wurde.",
    ),
    "entries_wait": (
        "Entries that name this order wait for their connector; they are in no count here.",
        "Einträge zu diesem Auftrag warten auf ihren Steckverbinder; sie sind hier nicht mitgezählt.",
    ),
    "step_without_entry": ("Planned, but no entry shows it.", "Geplant, aber durch keinen Eintrag belegt."),
    "other_contact": ("Another contact than planned.", "Anderer Kontakt als geplant."),
    "other_tool": ("Another tool than planned.", "Anderes Werkzeug als geplant."),
    "not_planned": ("Entries beyond the plan.", "Einträge über den Plan hinaus."),
    "no_limit": ("No limit is stated for these retainers.", "Für diese Halteelemente ist kein Grenzwert angegeben."),
    "limit_not_verified": (
        "The limit is not verified: nobody put a name, a day and a document to it.",
        "Der Grenzwert ist nicht geprüft: niemand steht mit Name, Tag und Unterlage dafür ein.",
    ),
    "history_not_known": (
        "The history is not known: the count is a lower bound.",
        "Die Vorgeschichte ist unbekannt: die Zahl ist eine Untergrenze.",
    ),
    "over_limit": ("The count is OVER its limit.", "Die Zahl liegt ÜBER dem Grenzwert."),
    "spent": ("Spent: no further insertion is allowed.", "Verbraucht: kein weiteres Einsetzen zulässig."),
    "did_not_hold": ("The last seating test did NOT hold.", "Die letzte Sitzprüfung hat NICHT gehalten."),
    "blocked": ("An open finding blocks this cavity.", "Ein offener Befund sperrt diese Kammer."),
    "other_work_between": (
        "Other work fell in between and is in the count after.",
        "Andere Arbeiten lagen dazwischen und sind in der Zahl danach enthalten.",
    ),
    "mating_limit_not_verified": (
        "The mating limit is not verified.",
        "Der Grenzwert der Steckzyklen ist nicht geprüft.",
    ),
    "over_mating_limit": ("Mated more often than the limit.", "Öfter gesteckt als der Grenzwert."),
    "discrepancies_open": (
        "Discrepancies of this work are open.",
        "Unstimmigkeiten dieser Arbeit sind offen.",
    ),
    "tool_overdue": ("The tool was overdue for its check.", "Die Prüfung des Werkzeugs war überfällig."),
    "tool_not_stated": ("Steps for which no tool is stated.", "Schritte ohne Angabe des Werkzeugs."),
    "person_not_listed": (
        "The person is not on the shop's list.",
        "Die Person steht nicht auf der Liste des Betriebs.",
    ),
    "entered_in_error": (
        "Entries were entered in error; they are listed.",
        "Einträge wurden irrtümlich gemacht; sie sind aufgeführt.",
    ),
}
_ACTS = {
    Act.INSERT: ("insert", "einsetzen"),
    Act.REMOVE: ("remove", "ausbauen"),
    Act.REPLACE: ("replace", "ersetzen"),
    Act.SEATING_TEST: ("test the seating", "Sitz prüfen"),
    Act.RENEW: ("renew the retainer", "Halteelement erneuern"),
    Act.MATE: ("mate", "stecken"),
    Act.UNMATE: ("unmate", "trennen"),
    Act.PLACE: ("place", "einbauen"),
    Act.RETIRE: ("retire", "ausmustern"),
    Act.OTHER: ("other", "Sonstiges"),
}
_KINDS = {
    Kind.INSERTION: ("contact inserted", "Kontakt eingesetzt"),
    Kind.REMOVAL: ("contact removed", "Kontakt ausgebaut"),
    Kind.TINE_ENTRY: ("removal tool in, nothing released", "Ausbauwerkzeug eingeführt, nichts gelöst"),
    Kind.SEATING_TEST: ("seating test", "Sitzprüfung"),
    Kind.FINDING: ("finding", "Befund"),
    Kind.FINDING_CLOSED: ("finding closed", "Befund erledigt"),
    Kind.MATING: ("mated", "gesteckt"),
    Kind.UNMATING: ("unmated", "getrennt"),
    Kind.PLACEMENT: ("placed", "Einbauort"),
    Kind.RENEWAL: ("retainer renewed", "Halteelement erneuert"),
    Kind.RETIREMENT: ("retired", "ausgemustert"),
    Kind.CARRY_IN: ("count carried in", "Zahl übernommen"),
    Kind.CORRECTION: ("correction", "Berichtigung"),
    Kind.ACCEPTANCE: ("acceptance", "Abnahme"),
    Kind.RESOLUTION: ("discrepancy resolved", "Unstimmigkeit erledigt"),
}
_WORDS = {
    "title": ("Maintenance record entry", "Eintrag in die Instandhaltungsaufzeichnungen"),
    "record": ("Record", "Aufzeichnung"),
    "approves": (
        "The signature of approval approves return to service only for the work performed that is stated here.",
        "Die Unterschrift gibt nur die hier angegebene durchgeführte Arbeit zur Wiederinbetriebnahme frei.",
    ),
    "corrects": ("This record corrects record", "Diese Aufzeichnung berichtigt die Aufzeichnung"),
    "reason": ("Reason", "Grund"),
    "not_to_be_missed": ("Not to be missed", "Zu beachten"),
    "work_done": ("Work done", "Durchgeführte Arbeit"),
    "description": ("Description", "Beschreibung"),
    "work_order": ("Work order", "Arbeitsauftrag"),
    "version": ("version", "Fassung"),
    "asset": ("Asset", "Luftfahrzeug oder Anlage"),
    "reference": ("Reference data", "Unterlagen"),
    "revision": ("revision", "Ausgabe"),
    "task": ("task", "Aufgabe"),
    "paragraph": ("paragraph", "Abschnitt"),
    "none_stated": ("none stated", "nicht angegeben"),
    "began": ("Begun", "Begonnen"),
    "completed": ("Completed", "Abgeschlossen"),
    "local": ("local time", "Ortszeit"),
    "inspection_required": ("Independent inspection required", "Unabhängige Prüfung gefordert"),
    "yes": ("yes", "ja"),
    "no": ("no", "nein"),
    "not_known": ("not known", "unbekannt"),
    "connectors": ("Connectors", "Steckverbinder"),
    "serial": ("Serial", "Seriennummer"),
    "part_number": ("Part number", "Teilenummer"),
    "cage": ("CAGE", "CAGE"),
    "uii": ("UII", "UII"),
    "place": ("Place when the work ended", "Einbauort bei Arbeitsende"),
    "mating": ("Mating cycles", "Steckzyklen"),
    "counts": ("Counts before and after", "Zyklenzahlen vorher und nachher"),
    "counts_note": (
        (
            "Cycles begun, of the retainer life given; the fold of the whole history before the first step of this work in the "
            "cavity and after its last. Remaining: insertions still allowed after the work."
        ),
        (
            "Begonnene Zyklen der angegebenen Lebensdauer des Halteelements vor dem ersten und nach dem letzten Schritt dieser "
            "Arbeit in der Kammer. Rest: danach noch zulässiges Einsetzen."
        ),
    ),
    "cavity": ("Cavity", "Kammer"),
    "size": ("Size", "Größe"),
    "retainer_life": ("Life", "Leben"),
    "before": ("Before", "Vorher"),
    "after": ("After", "Nachher"),
    "limit": ("Limit", "Grenzwert"),
    "basis": ("Basis and source", "Grundlage und Quelle"),
    "remaining": ("Remaining", "Rest"),
    "not_verified": ("NOT VERIFIED", "NICHT GEPRÜFT"),
    "verified_by": ("verified by", "geprüft von"),
    "no_limit_stated": ("no limit", "kein Grenzwert"),
    "mandatory": ("mandatory", "vorgeschrieben"),
    "recommended": ("recommended", "empfohlen"),
    "house": ("house", "betrieblich"),
    "lower_bound": ("at least", "mindestens"),
    "no_counts": ("The work touched no cavity.", "Die Arbeit berührte keine Kammer."),
    "life_status": ("Life status (14 CFR 43.10)", "Lebensdauerstatus (14 CFR 43.10)"),
    "life_note": (
        "Only where the operator declared the limit as mandatory. The status travels with the part and changes at each removal.",
        (
            "Nur wo der Betreiber den Grenzwert als vorgeschrieben erklärt hat. Der Status begleitet das Teil und ändert sich mit "
            "jedem Ausbau."
        ),
    ),
    "of": ("Of", "Von"),
    "retainers": ("retainers", "Halteelemente"),
    "accumulated": ("Accumulated", "Aufgelaufen"),
    "as_of": ("As of (UTC)", "Stand (UTC)"),
    "steps": ("Steps done", "Durchgeführte Schritte"),
    "steps_note": (
        "Times are UTC; the local offset stands behind each.",
        "Zeiten in UTC; dahinter der örtliche Abstand.",
    ),
    "when": ("When (UTC)", "Wann (UTC)"),
    "what": ("What", "Was"),
    "with": ("With", "Womit"),
    "where": ("Where, or how many", "Wo oder wie viele"),
    "result": ("Result", "Ergebnis"),
    "by": ("By", "Durch"),
    "step": ("Step", "Schritt"),
    "tool": ("tool", "Werkzeug"),
    "contact": ("contact", "Kontakt"),
    "held": ("held", "hält"),
    "did_not_hold": ("did NOT hold", "hält NICHT"),
    "level": ("level", "bündig"),
    "not_level": ("NOT level", "NICHT bündig"),
    "accepted": ("accepted", "angenommen"),
    "refused": ("REFUSED", "ABGELEHNT"),
    "no_steps": ("Nothing is recorded.", "Nichts aufgezeichnet."),
    "plan": ("Steps planned", "Geplante Schritte"),
    "done": ("Done", "Getan"),
    "not_shown": ("no entry", "kein Eintrag"),
    "no_plan": ("No steps were planned.", "Keine Schritte geplant."),
    "errors": ("Entered in error", "Irrtümliche Einträge"),
    "corrected": ("Corrected", "Berichtigt"),
    "means": ("Contacts and tools", "Kontakte und Werkzeuge"),
    "uses": ("Uses", "Verwendungen"),
    "due": ("Check due", "Prüfung fällig"),
    "overdue": ("OVERDUE", "ÜBERFÄLLIG"),
    "not_stated": ("not stated", "nicht angegeben"),
    "no_means": ("None stated.", "Keine angegeben."),
    "people": ("Performed by", "Durchgeführt von"),
    "person": ("Person", "Person"),
    "badge": ("Badge", "Ausweis"),
    "certificate": ("Certificate", "Berechtigung"),
    "entries": ("Entries", "Einträge"),
    "signatures": ("Signatures", "Unterschriften"),
    "performed": ("performed", "durchgeführt"),
    "inspected": ("inspected", "geprüft"),
    "approved": ("approved for return to service", "zur Wiederinbetriebnahme freigegeben"),
    "signed_at": ("Signed (UTC)", "Unterschrieben (UTC)"),
    "method": ("Method", "Verfahren"),
    "secret": ("badge and secret", "Ausweis und Geheimnis"),
    "openid": ("identity provider", "Identitätsanbieter"),
    "meaning": ("Meaning", "Bedeutung"),
    "signature": ("Signature", "Unterschrift"),
    "statement_hash": ("SHA-256 of what was signed", "SHA-256 des Unterschriebenen"),
    "own_work": ("own work, by exception", "eigene Arbeit, als Ausnahme"),
    "discrepancies": ("Open discrepancies", "Offene Unstimmigkeiten"),
    "none_open": ("None was open.", "Keine offen."),
    "this_work": ("of this work", "dieser Arbeit"),
    "beside": ("at a cavity it touched", "an einer berührten Kammer"),
    "made": ("Record made", "Aufzeichnung erstellt"),
    "identity": ("About this record", "Zu dieser Aufzeichnung"),
    "record_id": ("Record id", "Kennung"),
    "installation": ("Installation", "Installation"),
    "facts_hash": ("SHA-256 of the facts", "SHA-256 der Tatsachen"),
    "chain_note": (
        "Each entry stands in its connector's hash chain under the number and hash given.",
        "Jeder Eintrag steht unter Nummer und Hash in der Hashkette seines Steckverbinders.",
    ),
    "number_and_hash": ("No. and hash", "Nr. und Hash"),
    "language_note": (
        "The English text holds.",
        "Es gilt der englische Text.",
    ),
}
_TABLE = (
    _WORDS
    | {f"remark_{code}": words for code, words in _REMARKS.items()}
    | {f"act_{each.value}": words for each, words in _ACTS.items()}
    | {f"kind_{each.value}": words for each, words in _KINDS.items()}
)


def english(code: str) -> str:
    """Words in English."""
    return _TABLE[code][0]


def remark(code: str) -> str:
    """The sentence of a remark, in English."""
    return english(f"remark_{code}")


def act(which: Act) -> str:
    """What a planned step is, in English."""
    return english(f"act_{which.value}")


def beside(code: str, language: str) -> str:
    """Words in English, and behind a stroke in the other language where it says something else."""
    first, other = _TABLE[code]
    return first if language == "en" or other == first else f"{first} / {other}"


def codes() -> tuple[str, ...]:
    """Everything that has words."""
    return tuple(_TABLE)
