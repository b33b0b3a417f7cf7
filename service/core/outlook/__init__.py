"""When retainers run out, what that asks of the shelf and of the next check. Arrays in, arrays out; no clock, no chance."""
