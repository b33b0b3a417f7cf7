"""The planner's pages over HTTP."""
