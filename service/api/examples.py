"""Examples that more than one operation shows. Together they make one story, which the tests execute."""

ENTRY = {
    "id": "019ac0de-0000-7000-8000-000000000001",
    "connector": "EX-0001",
    "kind": "insertion",
    "cavity": "C",
    "performed_at": "2026-11-02T09:30:00+01:00",
    "performed_by": "badge 117",
    "tool": "M81969/14-02",
    "work_order": "WO-2026-0412",
}
