// @ts-check
// The closed list of what can be recorded although it ought not to have been possible, each with its sentence.

/** @type {Readonly<Record<string, string>>} */
export const SENTENCES = Object.freeze({
  over_rating: "The retainer has had more cycles than it is rated for.",
  over_mating_rating: "The connector has been mated more often than it is rated for.",
  inserted_while_occupied: "A contact went into a cavity that, as recorded, already held one.",
  removed_while_empty: "A contact came out of a cavity that, as recorded, was empty.",
  worked_with_open_finding: "The cavity was worked on while a finding that blocks it was open.",
  second_seating_test: "More than one seating test on the same insertion: each one loads the retainer.",
  seating_test_of_empty: "A seating test in a cavity that, as recorded, was empty.",
  renewed_while_occupied: "The retainer was renewed while, as recorded, a contact was in: a removal is missing.",
  work_after_retirement: "Work on a connector that had been retired.",
  carry_in_after_entries: "An opening count for a retainer that already had entries: both are counted.",
  carry_in_twice: "A second opening count for the same retainer life: the greater figures are counted.",
  carry_in_contradicts: "An opening count with a contact in, but no more insertions than removals: one more is counted.",
  carry_in_without_source: "An opening count that does not say where it comes from: counted, but the history stays unknown.",
  closed_no_finding: "A finding was closed that, as recorded, was not open.",
  mated_while_mated: "Mated although, as recorded, it was mated already.",
  unmated_while_unmated: "Unmated although, as recorded, it was not mated.",
  corrects_unknown: "Corrects an entry that is not in this connector's ledger (yet): nothing is voided.",
  corrects_a_correction: "Corrects a correction, which has no effect: record the fact again instead.",
  refers_to_unknown: "Refers to an entry that is not in this connector's ledger (yet): it has no effect.",
  no_reason: "A correction or a resolution without a reason in its note: it has no effect.",
  inspected_own_work: "Work was accepted by the person who did it.",
  work_refused: "An inspector refused this work.",
  clock_ahead: "The time of the work lies after the time it was recorded: a clock or a time zone is wrong.",
  clock_behind: "The time of the work lies years before it was recorded: the clock looks dead.",
  clock_off: "The sender's clock was off when this was sent.",
  unknown_person: "The person is not on the shop's list.",
  unknown_tool: "The tool is not on the shop's list.",
  wrong_tool: "The tool is for another contact size or for the other half of the job.",
  tool_overdue: "The tool was due for a check before the day of this work.",
  wrong_contact: "The contact is for another size of cavity, or for the other half: pin instead of socket.",
});

/** While one of these is open, the entry may stand in the wrong retainer life, so no answer is a plain go. */
export const TIME_DOUBTS = Object.freeze(["clock_ahead", "clock_behind", "clock_off"]);
