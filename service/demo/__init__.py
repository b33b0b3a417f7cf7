"""The demo fleet: a plainly invented operator with years of history, to try everything on. Nothing in it is real."""
