"""What leaves Tinebook by machine: events in the CloudEvents form, EPCIS documents, signed calls."""
