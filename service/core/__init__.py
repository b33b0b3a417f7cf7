"""The rules, as functions from values to values: no clock, file, network, driver or framework in here."""
